package resolve

import (
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"math"
	"slices"

	"hindcheck/pipeline/intake"
	"hindcheck/pipeline/lanes"
)

// runOrder gives the runs of a month's checks in the order of their calls, of one call
// by vet, file, part and place. The calls stand in a file in order of time, and
// pseudonyms need no hashing to be looked up: DuckDB, which joined and sorted them
// for any month, took five times as long.
//
// Of the calls and their runs a stretch of time is in memory; the files are read once
// for each.
type runOrder struct {
	calls   string
	runs    []string
	species func(name string) int32
	held    int     // the most calls of a stretch, but for those of one hour
	ends    []int64 // of the stretches that are left, in microseconds, without the end itself
	from    int64

	known []heldCall // of the present stretch, in order
	slots []int32    // places in known, from 1, by pseudonym; 0: none
	found []foundRun
	order []int32 // places in found
}

// heldCall is a call of the stretch at hand.
type heldCall struct {
	id      lanes.Key
	at      int64
	species int32
}

// foundRun is a run of the call at a place of known.
type foundRun struct {
	call int32
	intake.Run
}

// callsHeld is how many calls of a month are in memory at a time: with their runs 45 MB.
const callsHeld = 1 << 19

// newRunOrder begins with the first stretch.
func newRunOrder(ctx context.Context, calls string, runs []string, species func(string) int32, held int) (*runOrder, error) {
	o := &runOrder{calls: calls, runs: runs, species: species, held: held, from: math.MinInt64}
	if err := o.part(ctx); err != nil {
		return nil, err
	}
	return o, o.stretch(ctx)
}

// next gives the next runs, none at the end.
func (o *runOrder) next(ctx context.Context) ([]intake.Run, error) {
	for len(o.order) == 0 {
		if len(o.ends) == 0 {
			return nil, nil
		}
		if err := o.stretch(ctx); err != nil {
			return nil, err
		}
	}
	n := min(len(o.order), stretchRows)
	out := make([]intake.Run, n)
	for i, k := range o.order[:n] {
		out[i] = o.found[k].Run
	}
	o.order = o.order[n:]
	return out, ctx.Err()
}

// stretchRows is how many rows of an order are handed on at a time.
const stretchRows = 1 << 13

// part cuts the time of the calls into stretches, by whole hours.
func (o *runOrder) part(ctx context.Context) error {
	file, err := lanes.Open(o.calls)
	if err != nil {
		return err
	}
	defer file.Close()
	if file.Rows() > int64(o.held) {
		hours, err := perHour(ctx, file)
		if err != nil {
			return err
		}
		n := 0
		for _, h := range hours {
			if n += h.calls; n > o.held && n > h.calls {
				o.ends, n = append(o.ends, h.hour*hourMicros), h.calls
			}
		}
	}
	o.ends = append(o.ends, math.MaxInt64)
	return nil
}

type hourCalls struct {
	hour  int64
	calls int
}

// perHour counts the calls by hour, in order.
func perHour(ctx context.Context, file *lanes.Reader) (list []hourCalls, err error) {
	at := lanes.Times(file, "started_at")
	n := map[int64]int{}
	for {
		rows, err := file.Next(ctx)
		if err != nil {
			return nil, err
		}
		if rows == 0 {
			break
		}
		for _, t := range at.Values[:rows] {
			n[t/hourMicros]++
		}
	}
	for hour, calls := range n {
		list = append(list, hourCalls{hour, calls})
	}
	slices.SortFunc(list, func(a, b hourCalls) int { return cmp.Compare(a.hour, b.hour) })
	return list, nil
}

// stretch finds the runs of the next stretch.
func (o *runOrder) stretch(ctx context.Context) error {
	to := o.ends[0]
	if err := o.hold(ctx, o.from, to); err != nil {
		return err
	}
	o.from, o.ends = to, o.ends[1:]
	o.found = slices.Grow(o.found[:0], len(o.known)+len(o.known)/8) // most calls have one run
	for _, path := range o.runs {
		if err := o.find(ctx, path); err != nil {
			return err
		}
	}
	o.sort()
	return nil
}

// hold takes the calls of a stretch into memory, in order.
func (o *runOrder) hold(ctx context.Context, from, to int64) error {
	file, err := lanes.Open(o.calls)
	if err != nil {
		return err
	}
	defer file.Close()
	id, at, species := lanes.Keys(file, "call"), lanes.Times(file, "started_at"), lanes.ReadWords(file, "species", o.species)
	o.known = slices.Grow(o.known[:0], int(min(file.Rows(), int64(o.held))))
	for {
		n, err := file.Next(ctx)
		if err != nil {
			return err
		}
		if n == 0 {
			break
		}
		for i, t := range at.Values[:n] {
			if t >= from && t < to {
				o.known = append(o.known, heldCall{id.Values[i], t, max(species.At(i), 0)})
			}
		}
	}
	o.known = merged(o.known)
	size := 2
	for size < 2*len(o.known) {
		size *= 2
	}
	o.slots = make([]int32, size)
	for i := range o.known {
		*o.slot(o.known[i].id) = int32(i + 1)
	}
	return nil
}

// merged puts calls in order that come as a few sorted lists, one behind the other:
// those that are their own episode, and the others.
func merged(list []heldCall) []heldCall {
	for {
		second := 1
		for second < len(list) && list[second-1].before(list[second]) {
			second++
		}
		if second >= len(list) {
			return list
		}
		third := second + 1
		for third < len(list) && list[third-1].before(list[third]) {
			third++
		}
		out := make([]heldCall, 0, len(list))
		a, b := list[:second], list[second:third]
		for len(a) > 0 && len(b) > 0 {
			if a[0].before(b[0]) {
				out, a = append(out, a[0]), a[1:]
			} else {
				out, b = append(out, b[0]), b[1:]
			}
		}
		list = append(append(append(out, a...), b...), list[third:]...)
	}
}

// before is the order of calls in a file. No two are alike.
func (c heldCall) before(d heldCall) bool {
	return c.at < d.at || c.at == d.at && bytes.Compare(c.id[:], d.id[:]) < 0
}

// slot is where a call stands or would stand. Pseudonyms are spread evenly.
func (o *runOrder) slot(id lanes.Key) *int32 {
	mask := uint64(len(o.slots) - 1)
	for i := binary.LittleEndian.Uint64(id[:]) & mask; ; i = (i + 1) & mask {
		if k := o.slots[i]; k == 0 || o.known[k-1].id == id {
			return &o.slots[i]
		}
	}
}

// find looks for runs of the calls at hand in a file.
func (o *runOrder) find(ctx context.Context, path string) error {
	file, err := lanes.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	call, vet, no := lanes.Keys(file, "call"), lanes.Tris(file, "vet"), lanes.Whole(file, "src_file")
	part, first, rows := lanes.Whole(file, "part"), lanes.Longs(file, "first"), lanes.Whole(file, "n")
	for {
		n, err := file.Next(ctx)
		if n == 0 || err != nil {
			return err
		}
		for i, id := range call.Values[:n] {
			if k := *o.slot(id); k > 0 {
				o.found = append(o.found, foundRun{k - 1, intake.Run{File: no.Values[i], Part: part.Values[i], First: first.Values[i], Rows: rows.Values[i],
					Vet: vet.Values[i] == 1, Species: o.known[k-1].species}})
			}
		}
	}
}

// sort puts what was found in the order of the calls: it counts them by call, and sorts
// only those of one call.
func (o *runOrder) sort() {
	ends := make([]int32, len(o.known)+1)
	for _, f := range o.found {
		ends[f.call+1]++
	}
	for i := range o.known {
		ends[i+1] += ends[i]
	}
	order := make([]int32, len(o.found))
	for k, f := range o.found {
		order[ends[f.call]] = int32(k)
		ends[f.call]++
	}
	for from := 0; from < len(order); {
		to := int(ends[o.found[order[from]].call])
		if to-from > 1 {
			slices.SortFunc(order[from:to], func(a, b int32) int { return o.found[a].compare(o.found[b]) })
		}
		from = to
	}
	o.order = order
}

// compare is the order of the runs of a call.
func (f foundRun) compare(g foundRun) int {
	if f.Vet != g.Vet {
		if f.Vet {
			return 1
		}
		return -1
	}
	return cmp.Or(cmp.Compare(f.File, g.File), cmp.Compare(f.Part, g.Part), cmp.Compare(f.First, g.First))
}
