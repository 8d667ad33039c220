package derive

import (
	"context"
	"math"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/lanes"
)

// lift makes the code of every reading positive: the lowest is -4.
const lift = 4

// reading is one home check. packed is as in cases.sql: the higher half is its
// place (the last one done wins over earlier ones, and any reading over a blank),
// the lower half its code as stored, moved up by lift.
type reading struct {
	packed  int64
	finding int32 // place in the dictionary, or lanes.None
	handled int8  // 1 free to 4 refused, 0 not said
}

// encoder turns stored checks into the numbers of `cases`.
type encoder struct {
	dict    *findings.Dictionary
	finding func(string) int32
	// words of coded answers, and for each finding the place of each word, 0
	// where it is no code of it.
	words  *lanes.Vocabulary
	places [][]int32
}

func newEncoder(d *findings.Dictionary) *encoder {
	ids := make([]string, len(d.Findings))
	for i := range d.Findings {
		ids[i] = d.Findings[i].ID
	}
	return &encoder{dict: d, finding: lanes.Closed(ids...), words: lanes.NewVocabulary(), places: make([][]int32, len(ids))}
}

// code numbers a coded answer.
func (e *encoder) code(word string) int32 {
	n := e.words.Number(word)
	for f := range e.places {
		for len(e.places[f]) <= int(n) {
			e.places[f] = append(e.places[f], e.dict.Findings[f].Position(e.words.All[len(e.places[f])]))
		}
	}
	return n
}

// value is the number of a done check.
func (e *encoder) value(finding, word int32, number float64, hasNumber bool) int32 {
	f := &e.dict.Findings[finding]
	if f.Kind == findings.Code {
		if word != lanes.None && e.places[finding][word] > 0 {
			return e.places[finding][word]
		}
		return codes.NotAsked
	}
	scaled := number * float64(f.Scale)
	if !hasNumber || !(number >= 0 && scaled <= float64(f.MaxStored())) {
		return codes.NotAsked
	}
	return int32(math.Round(scaled))
}

// checkRows reads the checks of a month in their order.
type checkRows struct {
	r    *lanes.Reader
	enc  *encoder
	n, i int
	run  []reading

	call                                             *lanes.Lane[lanes.Key]
	finding, code, observer, handling, state, reason lanes.Words
	seq                                              *lanes.Lane[int32]
	number                                           *lanes.Lane[float64]
}

var (
	handledOf = lanes.Closed("", "free", "held", "wrapped", "refused")
	vetOf     = lanes.Closed("vet")
	stateOf   = lanes.Closed("done", "not_possible", "declined")
	stoppedOf = lanes.Closed("stopped_early")
)

func openChecks(path string, enc *encoder) (*checkRows, error) {
	r, err := lanes.Open(path)
	if err != nil {
		return nil, err
	}
	return &checkRows{r: r, enc: enc, call: lanes.Keys(r, "call"), finding: lanes.ReadWords(r, "finding", enc.finding), code: lanes.ReadWords(r, "value_code", enc.code),
		observer: lanes.ReadWords(r, "observer", vetOf), handling: lanes.ReadWords(r, "handling", handledOf), state: lanes.ReadWords(r, "state", stateOf),
		reason: lanes.ReadWords(r, "reason", stoppedOf), seq: lanes.Whole(r, "seq"), number: lanes.Floats(r, "value_number")}, nil
}

// load reads the next batch.
func (c *checkRows) load(ctx context.Context) (more bool, err error) {
	c.n, err = c.r.Next(ctx)
	c.i = 0
	return c.n > 0, err
}

// of returns the readings of a call, without those of a vet, if its checks come
// next; else none. They hold until the next call.
func (c *checkRows) of(ctx context.Context, call lanes.Key) ([]reading, error) {
	c.run = c.run[:0]
	for {
		if c.i == c.n {
			if more, err := c.load(ctx); !more || err != nil {
				return c.run, err
			}
		}
		if c.call.Values[c.i] != call {
			return c.run, nil
		}
		if c.observer.At(c.i) == lanes.None {
			c.run = append(c.run, c.reading(c.i))
		}
		c.i++
	}
}

// done reports whether all checks have been read.
func (c *checkRows) done(ctx context.Context) (bool, error) {
	if c.i < c.n {
		return false, nil
	}
	more, err := c.load(ctx)
	return !more, err
}

func (c *checkRows) reading(i int) reading {
	r := reading{finding: c.finding.At(i), handled: int8(max(c.handling.At(i), 0))}
	seq := int64(c.seq.Values[i])
	if r.finding == lanes.None || !c.seq.Valid[i] {
		r.finding = lanes.None
		return r
	}
	value := codes.NotAsked
	switch c.state.At(i) {
	case 0:
		seq += 100_000
		value = c.enc.value(r.finding, c.code.At(i), c.number.Values[i], c.number.Valid[i])
	case 1:
		value = codes.NotPossible
	case 2:
		value = codes.Declined
	default:
		if c.reason.At(i) == 0 {
			value = codes.StoppedEarly
		}
	}
	r.packed = seq<<32 + lift + int64(value)
	return r
}

func (c *checkRows) close() { c.r.Close() }
