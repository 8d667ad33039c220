package queries

import "fmt"

// stringList, intList and wordList take DuckDB lists, which the driver gives as
// []any.
type (
	stringList []string
	intList    []int
	wordList   []uint64
)

// Scan reads a list of text.
func (l *stringList) Scan(src any) (err error) {
	*l, err = scanList(src, "text", func(s string) string { return s })
	return err
}

// Scan reads a list of 32-bit integers.
func (l *intList) Scan(src any) (err error) {
	*l, err = scanList(src, "an integer", func(n int32) int { return int(n) })
	return err
}

// Scan reads a list of 64-bit words.
func (l *wordList) Scan(src any) (err error) {
	*l, err = scanList(src, "a word of bits", func(w uint64) uint64 { return w })
	return err
}

// scanList reads a list whose elements the driver gives as From; what names them.
func scanList[From, To any](src any, what string, convert func(From) To) ([]To, error) {
	list, ok := src.([]any)
	if !ok {
		return nil, fmt.Errorf("expected a list, found %T", src)
	}
	out := make([]To, len(list))
	for i, x := range list {
		v, ok := x.(From)
		if !ok {
			return nil, fmt.Errorf("expected %s in the list, found %T", what, x)
		}
		out[i] = convert(v)
	}
	return out, nil
}
