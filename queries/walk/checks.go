package walk

import (
	"context"
	"fmt"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/lanes"
)

// check is one row of the checks.
type check struct {
	put       int64 // when it was asked, microseconds since 1970, or noTime
	number    float64
	finding   int32
	seq       int32 // noSeq: not on record
	code      int32 // number of the word, lanes.None without
	how       int16 // see hows
	state     int8  // place on the list of states
	observer  int8  // place on the list of observers, -1 without
	vet       bool
	hasNumber bool
}

// noSeq stands behind every place.
const noSeq = 1 << 15

// Places on the list of states.
var (
	done     = int32(codes.States.Index("done"))
	notAsked = int32(codes.States.Index("not_asked"))
)

// rows reads the checks of a file.
type rows struct {
	call                             *lanes.Lane[lanes.Key]
	finding, handling, state, reason lanes.Words
	observer, setting, animalState   lanes.Words
	code                             lanes.Words
	seq                              *lanes.Lane[int32]
	put                              *lanes.Lane[int64]
	number                           *lanes.Lane[float64]
}

func (w *Walker) open(r *lanes.Reader) *rows {
	any := func(string) int32 { return 0 }
	word := func(l codes.List) lanes.Words { return lanes.ReadWords(r, l.Name(), lanes.Closed(l.Words()...)) }
	return &rows{call: lanes.Keys(r, "call"), finding: lanes.ReadWords(r, "finding", w.alike.findings.Number), handling: word(codes.Handling), state: word(codes.States),
		reason: word(codes.Reasons), observer: word(codes.Observers), setting: lanes.ReadWords(r, "setting", any), animalState: lanes.ReadWords(r, "animal_state", any),
		code: lanes.ReadWords(r, "value_code", w.pairs.words.Number), seq: lanes.Whole(r, "seq"), put: lanes.Times(r, "asked_at"), number: lanes.Floats(r, "value_number")}
}

// file walks the checks of a file, call by call.
func (w *Walker) file(ctx context.Context, path string) error {
	r, err := lanes.Open(path)
	if err != nil {
		return err
	}
	defer r.Close()
	rows := w.open(r)
	var last lanes.Key
	w.run = w.run[:0]
	for {
		n, err := r.Next(ctx)
		if err != nil {
			return err
		}
		if n == 0 {
			break
		}
		w.fetch(rows.call.Values[:n])
		for i, key := range rows.call.Values[:n] {
			if key != last {
				if err := w.finish(last, path); err != nil {
					return err
				}
				last = key
			}
			if err := w.take(rows, i, path); err != nil {
				return err
			}
		}
	}
	return w.finish(last, path)
}

// fetch has the calls of a batch of checks at hand.
func (w *Walker) fetch(of []lanes.Key) {
	w.keys = w.keys[:0]
	for i := range of {
		if i == 0 || of[i] != of[i-1] {
			w.keys = append(w.keys, of[i])
		}
	}
	w.calls.touch(w.keys)
}

// take appends row i to the run.
func (w *Walker) take(r *rows, i int, path string) error {
	state := r.state.At(i)
	handling, reason, observer := r.handling.At(i), r.reason.At(i), r.observer.At(i)
	if state < 0 || r.finding.At(i) < 0 || handling < 0 && r.handling.Valid[i] || reason < 0 && r.reason.Valid[i] || observer < 0 && r.observer.Valid[i] {
		return fmt.Errorf("%w: %s: a check without finding, or with a word of no list", lanes.ErrUnwalkable, path)
	}
	w.fill[r.fill(i, state)]++
	c := check{finding: r.finding.Values[i], how: how(handling, state, reason), state: int8(state), vet: observer == vet, observer: int8(observer),
		code: r.code.At(i), number: r.number.Values[i], hasNumber: r.number.Valid[i], put: timeOr(r.put, i), seq: noSeq}
	if r.seq.Valid[i] {
		c.seq = r.seq.Values[i]
	}
	w.run = append(w.run, c)
	return nil
}

// finish counts the run of a call.
func (w *Walker) finish(key lanes.Key, path string) error {
	if len(w.run) == 0 {
		return nil
	}
	one := w.calls.find(key)
	asked, read := false, false
	for i := range w.run {
		c := &w.run[i]
		asked, read = asked || !c.vet, read || c.vet && c.state == int8(done)
	}
	if asked && one.asked {
		return fmt.Errorf("%w: %s: the checks of a call lie apart", lanes.ErrUnwalkable, path)
	}
	w.pairs.apart = w.pairs.apart || read && (one.asked || one.read) || asked && one.read
	one.asked, one.read = one.asked || asked, one.read || read
	if asked {
		w.alike.add(one, w.run)
	}
	if one.wanted {
		w.keep(one, w.run)
	}
	if asked && read {
		w.pairs.add(&w.calls, one, w.run)
	}
	w.run = w.run[:0]
	return nil
}
