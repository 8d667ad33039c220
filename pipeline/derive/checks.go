package derive

import (
	"context"
	"math"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
)

// lift makes the code of every reading positive: the lowest is -4.
const lift = 4

// reading is one home check. packed is as in cases.sql: the higher half is its
// place (the last one done wins over earlier ones, and any reading over a blank),
// the lower half its code as stored, moved up by lift.
type reading struct {
	packed  int64
	finding int32 // place in the dictionary, or none
	handled int8  // 1 free to 4 refused, 0 not said
}

// encoder turns stored checks into the numbers of `cases`.
type encoder struct {
	dict    *findings.Dictionary
	finding func(string) int32
	// words of coded answers, and for each finding the place of each word, 0
	// where it is no code of it.
	words  *vocabulary
	places [][]int32
}

func newEncoder(d *findings.Dictionary) *encoder {
	ids := make([]string, len(d.Findings))
	for i := range d.Findings {
		ids[i] = d.Findings[i].ID
	}
	return &encoder{dict: d, finding: closed(ids...), words: newVocabulary(), places: make([][]int32, len(ids))}
}

// code numbers a coded answer.
func (e *encoder) code(word string) int32 {
	n := e.words.number(word)
	for f := range e.places {
		for len(e.places[f]) <= int(n) {
			e.places[f] = append(e.places[f], e.dict.Findings[f].Position(e.words.words[len(e.places[f])]))
		}
	}
	return n
}

// value is the number of a done check.
func (e *encoder) value(finding, word int32, number float64, hasNumber bool) int32 {
	f := &e.dict.Findings[finding]
	if f.Kind == findings.Code {
		if word != none && e.places[finding][word] > 0 {
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
	r    *reader
	enc  *encoder
	n, i int
	run  []reading

	call                                             *lane[key]
	finding, code, observer, handling, state, reason words
	seq                                              *lane[int32]
	number                                           *lane[float64]
}

var (
	handledOf = closed("", "free", "held", "wrapped", "refused")
	vetOf     = closed("vet")
	stateOf   = closed("done", "not_possible", "declined")
	stoppedOf = closed("stopped_early")
)

func openChecks(path string, enc *encoder) (*checkRows, error) {
	r, err := openRows(path)
	if err != nil {
		return nil, err
	}
	return &checkRows{r: r, enc: enc, call: keyLane(r, "call"), finding: wordLane(r, "finding", enc.finding), code: wordLane(r, "value_code", enc.code),
		observer: wordLane(r, "observer", vetOf), handling: wordLane(r, "handling", handledOf), state: wordLane(r, "state", stateOf),
		reason: wordLane(r, "reason", stoppedOf), seq: wholeLane(r, "seq"), number: floatLane(r, "value_number")}, nil
}

// load reads the next batch.
func (c *checkRows) load(ctx context.Context) (more bool, err error) {
	c.n, err = c.r.next(ctx)
	c.i = 0
	return c.n > 0, err
}

// of returns the readings of a call, without those of a vet, if its checks come
// next; else none. They hold until the next call.
func (c *checkRows) of(ctx context.Context, call key) ([]reading, error) {
	c.run = c.run[:0]
	for {
		if c.i == c.n {
			if more, err := c.load(ctx); !more || err != nil {
				return c.run, err
			}
		}
		if c.call.values[c.i] != call {
			return c.run, nil
		}
		if c.observer.at(c.i) == none {
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
	r := reading{finding: c.finding.at(i), handled: int8(max(c.handling.at(i), 0))}
	seq := int64(c.seq.values[i])
	if r.finding == none || !c.seq.valid[i] {
		r.finding = none
		return r
	}
	value := codes.NotAsked
	switch c.state.at(i) {
	case 0:
		seq += 100_000
		value = c.enc.value(r.finding, c.code.at(i), c.number.values[i], c.number.valid[i])
	case 1:
		value = codes.NotPossible
	case 2:
		value = codes.Declined
	default:
		if c.reason.at(i) == 0 {
			value = codes.StoppedEarly
		}
	}
	r.packed = seq<<32 + lift + int64(value)
	return r
}

func (c *checkRows) close() { c.r.close() }
