package walk

import (
	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/lanes"
)

// Kept is a check of an episode that is wanted row by row.
type Kept struct {
	Episode, Call lanes.Key
	// Seq is its place in the call, -1 where that is not on record.
	Seq                                              int
	Finding, Observer, State, Reason, Code, Handling string
	Number                                           *float64
	// Asked is when it was asked, in microseconds since 1970; nil if not on record.
	Asked *int64
	// Treated: whether treatment had begun when a vet read it; nil if not known.
	Treated *bool
}

// observers are the words of who made a check, the first for none.
var observers = append([]string{""}, codes.Observers.Words()...)

// vet is the vet's place on the list of observers.
var vet = int32(codes.Observers.Index("vet"))

// keep keeps the checks of a call that is wanted.
func (w *Walker) keep(one *call, run []check) {
	for i := range run {
		c := &run[i]
		h := int(c.how)
		k := Kept{Episode: one.episode, Call: one.key, Seq: -1, Finding: w.alike.findings.All[c.finding], Observer: observers[c.observer+1], State: states[c.state],
			Reason: reasons[h%len(reasons)], Handling: handlings[h/len(reasons)/len(states)], Code: w.pairs.words.Word(c.code)}
		if c.seq != noSeq {
			k.Seq = int(c.seq)
		}
		if c.hasNumber {
			number := c.number
			k.Number = &number
		}
		if c.put != noTime {
			put := c.put
			k.Asked = &put
			if c.vet {
				k.Treated = w.calls.treated(one, put)
			}
		}
		w.kept = append(w.kept, k)
	}
}

// treated says whether treatment had begun at a vet's exam of a call at that time.
func (c *calls) treated(one *call, seen int64) (begun *bool) {
	for at := one.exam; at > 0; at = c.exams[at-1].next {
		if e := c.exams[at-1]; e.seen == seen {
			is := e.treated == 1 || begun != nil && *begun
			begun = &is
		}
	}
	return begun
}
