package derive

import (
	"fmt"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
)

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

// texts are the words of a batch, each as its number.
type texts struct {
	arr     arrow.Array
	indices []int32
	numbers []int32
}

// textsOf returns a cast of an array of words that numbers them with number,
// once for each different word of the batch.
func textsOf(number func(word string) int32) func(arrow.Array) (texts, error) {
	return func(a arrow.Array) (texts, error) {
		d, ok := a.(*array.Dictionary)
		if !ok {
			return texts{}, fmt.Errorf("expected words, found %s", a.DataType())
		}
		idx, ok := d.Indices().(*array.Int32)
		if !ok {
			return texts{}, fmt.Errorf("expected words, found %s", a.DataType())
		}
		t := texts{arr: a, indices: idx.Int32Values(), numbers: make([]int32, d.Dictionary().Len())}
		switch list := d.Dictionary().(type) {
		case *array.String:
			for i := range t.numbers {
				t.numbers[i] = number(list.Value(i))
			}
		case *array.Binary:
			for i := range t.numbers {
				t.numbers[i] = number(list.ValueString(i))
			}
		default:
			return texts{}, fmt.Errorf("expected words, found %s", a.DataType())
		}
		return t, nil
	}
}

// at returns the number of the word of row i, or none.
func (t texts) at(i int) int32 {
	if t.arr.IsNull(i) {
		return none
	}
	return t.numbers[t.indices[i]]
}
