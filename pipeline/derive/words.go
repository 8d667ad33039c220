package derive

import "github.com/apache/arrow-go/v18/parquet"

// none is the number of a missing word.
const none = int32(-1)

// vocabulary numbers words in the order in which they first come.
type vocabulary struct {
	index map[string]int32
	words []string
}

func newVocabulary() *vocabulary { return &vocabulary{index: map[string]int32{}} }

// number returns the number of a word.
func (v *vocabulary) number(word string) int32 {
	if n, ok := v.index[word]; ok {
		return n
	}
	n := int32(len(v.words))
	v.index[word] = n
	v.words = append(v.words, word)
	return n
}

// word returns the word of a number, "" for none.
func (v *vocabulary) word(n int32) string {
	if n == none {
		return ""
	}
	return v.words[n]
}

// closed returns the numbers of words that are known beforehand: the place in
// the list, or none.
func closed(words ...string) func(string) int32 {
	index := map[string]int32{}
	for i, w := range words {
		index[w] = int32(i)
	}
	return func(word string) int32 {
		if n, ok := index[word]; ok {
			return n
		}
		return none
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

// words are the words of a batch, each as its number.
type words struct{ *lane[int32] }

// wordLane reads words by their numbers.
func wordLane(r *reader, name string, number func(word string) int32) words {
	m := &memo{number: number}
	return words{newLane(r, name, physical(parquet.Types.ByteArray), func(v parquet.ByteArray) int32 { return m.of(v) })}
}

// at returns the number of the word of row i, or none.
func (w words) at(i int) int32 {
	if !w.valid[i] {
		return none
	}
	return w.values[i]
}
