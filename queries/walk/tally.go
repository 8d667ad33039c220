package walk

// tally counts each bit of the words that are added: plane p holds bit p of all 64
// counts, so that adding a word costs a few carries and not a step for each bit.
type tally struct {
	planes [32]uint64
	used   int
}

func (t *tally) add(word uint64) {
	for p := 0; word != 0; p++ {
		t.planes[p&31], word = t.planes[p&31]^word, t.planes[p&31]&word
		t.used = max(t.used, p+1)
	}
}

// of is how many of the words had bit b.
func (t *tally) of(b int) (n int64) {
	for p, plane := range t.planes[:t.used] {
		n |= int64(plane>>b&1) << p
	}
	return n
}
