package inspect

import (
	"cmp"
	"hash/fnv"
	"math"
	"slices"

	"hindcheck/pipeline/source"
)

// distinct counts different values: exactly up to MaxDistinct, above that from
// the smallest of their hashes.
//
// Source of the estimate: Beyer, Haas, Reinwald, Sismanis & Gemulla (2007) "On
// synopses for distinct-value estimation under multiset operations", Proc ACM
// SIGMOD, 199-210: with the k-th smallest of hashes spread evenly over (0, 1)
// at u, (k-1)/u is unbiased; its relative standard error is about 1/sqrt(k-2),
// 3 % here.
type distinct struct {
	counts map[string]int64    // by value; nil once there are too many
	hashes map[uint64]struct{} // the MaxDistinct+1 smallest
	limit  uint64              // the largest of them, once there are so many
}

func newDistinct() distinct {
	return distinct{counts: map[string]int64{}, hashes: map[uint64]struct{}{}, limit: math.MaxUint64}
}

func (d *distinct) add(cell []byte) {
	// Prose is counted without being kept: a longer text is no word.
	key := cell[:min(len(cell), source.MaxWord+1)]
	if len(key) == len(cell) && d.counts != nil {
		if n, ok := d.counts[string(key)]; ok {
			d.counts[string(key)] = n + 1
			return
		}
	}
	h := spread(cell)
	if _, ok := d.hashes[h]; !ok && (len(d.hashes) <= MaxDistinct || h < d.limit) {
		d.hashes[h] = struct{}{}
		// The set may grow to twice its size before the largest are thrown out.
		if len(d.hashes) > 2*MaxDistinct {
			d.shrink()
		}
	}
	if d.counts != nil {
		d.counts[string(key)]++
		if len(d.counts) > MaxDistinct {
			d.counts = nil
		}
	}
}

func (d *distinct) shrink() {
	all := d.sorted()
	for _, h := range all[MaxDistinct+1:] {
		delete(d.hashes, h)
	}
	d.limit = all[MaxDistinct]
}

func (d *distinct) sorted() []uint64 {
	all := make([]uint64, 0, len(d.hashes))
	for h := range d.hashes {
		all = append(all, h)
	}
	slices.Sort(all)
	return all
}

// spread hashes a cell to bits that are all alike random: FNV-1a and the
// finishing steps of splitmix64, whose high bits FNV alone leaves uneven.
func spread(cell []byte) uint64 {
	f := fnv.New64a()
	f.Write(cell)
	h := f.Sum64()
	h = (h ^ h>>30) * 0xbf58476d1ce4e5b9
	h = (h ^ h>>27) * 0x94d049bb133111eb
	return h ^ h>>31
}

// count returns the number of different values and whether it is estimated.
func (d *distinct) count() (n int64, estimated bool) {
	if len(d.hashes) <= MaxDistinct {
		return int64(len(d.hashes)), false
	}
	u := float64(d.sorted()[MaxDistinct]) / math.MaxUint64
	return int64(math.Round(MaxDistinct / u)), true
}

// words returns the values that may be shown, the most frequent first, and how
// many are withheld.
func (d *distinct) words(filled int64) (shown []Value, withheld int) {
	n, _ := d.count()
	// Values that hardly repeat are no words of a list, whatever they look like.
	if d.counts == nil || n*2 > filled && n > 12 {
		return nil, int(n)
	}
	for word, count := range d.counts {
		if !mayShow(word) { // a text that was cut is too long to be shown
			withheld++
			continue
		}
		shown = append(shown, Value{word, count})
	}
	slices.SortFunc(shown, func(a, b Value) int { return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Word, b.Word)) })
	return shown, withheld
}
