package lanes

import "github.com/apache/arrow-go/v18/parquet"

// None is the number of a missing word.
const None = int32(-1)

// Vocabulary numbers words in the order in which they first come.
type Vocabulary struct {
	index map[string]int32
	// All are the words in the order of their numbers.
	All []string
}

// NewVocabulary makes one without words.
func NewVocabulary() *Vocabulary { return &Vocabulary{index: map[string]int32{}} }

// Number returns the number of a word.
func (v *Vocabulary) Number(word string) int32 {
	if n, ok := v.index[word]; ok {
		return n
	}
	n := int32(len(v.All))
	v.index[word] = n
	v.All = append(v.All, word)
	return n
}

// Word returns the word of a number, "" for None.
func (v *Vocabulary) Word(n int32) string {
	if n == None {
		return ""
	}
	return v.All[n]
}

// Closed returns the numbers of words that are known beforehand: the place in
// the list, or None.
func Closed(words ...string) func(string) int32 {
	index := map[string]int32{}
	for i, w := range words {
		index[w] = int32(i)
	}
	return func(word string) int32 {
		if n, ok := index[word]; ok {
			return n
		}
		return None
	}
}

// memo remembers the numbers of a column's last words, since few words come again
// and again.
type memo struct {
	number func(string) int32
	slots  [256]struct {
		word string
		n    int32
		used bool
	}
}

func (m *memo) of(word []byte) int32 {
	h := uint(len(word)) * 31
	if n := len(word); n > 0 {
		h += uint(word[0])*7 + uint(word[n/2])*3 + uint(word[n-1])
	}
	s := &m.slots[h%uint(len(m.slots))]
	if !s.used || s.word != string(word) {
		s.word, s.used = string(word), true
		s.n = m.number(s.word)
	}
	return s.n
}

// Words are the words of a batch, each as its number.
type Words struct{ *Lane[int32] }

// ReadWords reads words by their numbers.
func ReadWords(r *Reader, name string, number func(word string) int32) Words {
	m := &memo{number: number}
	text := physical(parquet.Types.ByteArray)
	return Words{byDictionary(r, newLane(r, name, text, func(v parquet.ByteArray) int32 { return m.of(v) }), unpackWords(number))}
}

// At returns the number of the word of row i, or None.
func (w Words) At(i int) int32 {
	if !w.Valid[i] {
		return None
	}
	return w.Values[i]
}
