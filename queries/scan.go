package queries

import "fmt"

// stringList and intList take DuckDB lists, which the driver gives as []any.
type stringList []string

// Scan reads a list of text.
func (l *stringList) Scan(src any) error {
	list, ok := src.([]any)
	if !ok {
		return fmt.Errorf("expected a list, found %T", src)
	}
	*l = make([]string, len(list))
	for i, x := range list {
		s, ok := x.(string)
		if !ok {
			return fmt.Errorf("expected text in the list, found %T", x)
		}
		(*l)[i] = s
	}
	return nil
}

type intList []int

// Scan reads a list of 32-bit integers.
func (l *intList) Scan(src any) error {
	list, ok := src.([]any)
	if !ok {
		return fmt.Errorf("expected a list, found %T", src)
	}
	*l = make([]int, len(list))
	for i, x := range list {
		n, ok := x.(int32)
		if !ok {
			return fmt.Errorf("expected an integer in the list, found %T", x)
		}
		(*l)[i] = int(n)
	}
	return nil
}

// wordList scans a list of words of bits.
type wordList []uint64

// Scan reads a list of 64-bit words.
func (l *wordList) Scan(src any) error {
	list, ok := src.([]any)
	if !ok {
		return fmt.Errorf("expected a list, found %T", src)
	}
	*l = make([]uint64, len(list))
	for i, x := range list {
		if (*l)[i], ok = x.(uint64); !ok {
			return fmt.Errorf("expected a word of bits in the list, found %T", x)
		}
	}
	return nil
}
