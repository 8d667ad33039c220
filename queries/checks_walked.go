package queries

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"hindcheck/pipeline/lanes"
	"hindcheck/queries/walk"
)

// ExamHours is how long after the call a vet's reading of a sign still compares
// with the owner's in a review.
const ExamHours = 4

// walked are the counts of the checks of some months, each month by itself.
type walked struct {
	months []int
	counts []*walk.Month
	// wanted are the episodes of which the checks were kept.
	wanted map[lanes.Key]bool
}

// KeepChecks has the checks of some episodes at hand for CaseChecks: they are taken
// along by the walk over the months that a review makes anyway.
func (d *DB) KeepChecks(ctx context.Context, s Scope, episodes []string) error {
	wanted := map[lanes.Key]bool{}
	for _, e := range episodes {
		if key, ok := keyOf(e); ok {
			wanted[key] = true
		}
	}
	_, err := d.walkWith(ctx, s, wanted)
	return err
}

// walks says whether so much is asked that a walk over the files pays: of a review,
// which keeps episodes alike, and not of a single question.
func (d *DB) walks() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(d.kept) > 0 && !d.published && d.stored != nil
}

// walk counts the checks by one pass over the files of each month, kept for the next
// question about the same months; nil where the plain questions must be asked.
func (d *DB) walk(ctx context.Context, s Scope) (*walked, error) { return d.walkWith(ctx, s, nil) }

// walkWith keeps the checks of some episodes too, unless it has been done before.
func (d *DB) walkWith(ctx context.Context, s Scope, wanted map[lanes.Key]bool) (*walked, error) {
	if !d.walks() {
		return nil, nil
	}
	d.walking.Lock()
	defer d.walking.Unlock()
	months := [2]int{s.From, s.To}
	if w, ok := d.walked[months]; ok {
		return w, nil
	}
	var idle sync.Pool
	counts, err := eachMonth(s, func(s Scope) ([]*walk.Month, error) {
		w, _ := idle.Get().(*walk.Walker)
		if w == nil {
			w = new(walk.Walker)
		}
		defer idle.Put(w)
		m, err := w.Month(ctx, walk.Files{Calls: d.pathsOf("calls", s.From, s.To), Checks: d.pathsOf("checks", s.From, s.To), Outcomes: d.pathsOf("outcomes", s.From, s.To)}, ExamHours*time.Hour, wanted)
		return []*walk.Month{m}, err
	})
	if err != nil && !errors.Is(err, lanes.ErrUnwalkable) {
		return nil, fmt.Errorf("walk over checks: %w", err)
	}
	var w *walked
	if err == nil {
		w = &walked{months: monthsOf(s), counts: counts, wanted: wanted}
	}
	if d.walked == nil {
		d.walked = map[[2]int]*walked{}
	}
	d.walked[months] = w
	return w, nil
}

// handling adds up rows as CheckHandling gives them.
func (w *walked) handling() []CheckHandlingRow {
	out := []CheckHandlingRow{}
	place := map[CheckHandlingRow]int{}
	for _, m := range w.counts {
		for _, x := range m.Alike {
			row := CheckHandlingRow{Finding: x.Finding, Species: x.Species, Handling: x.Handling, State: x.State, Reason: x.Reason}
			i, ok := place[row]
			if !ok {
				i = len(out)
				place[row], out = i, append(out, row)
			}
			out[i].N += x.N
		}
	}
	slices.SortFunc(out, sameHandling)
	return out
}

// seconds adds up rows as CheckSeconds gives them.
func (w *walked) seconds() []CheckSecondsRow {
	sums := map[string]walk.Counts{}
	for _, m := range w.counts {
		for _, x := range m.Alike {
			sum := sums[x.Finding]
			sum.Asked, sum.Timed, sum.Micros = sum.Asked+x.Asked, sum.Timed+x.Timed, sum.Micros+x.Micros
			sums[x.Finding] = sum
		}
	}
	out := []CheckSecondsRow{}
	for finding, sum := range sums {
		if sum.Asked > 0 {
			out = append(out, CheckSecondsRow{finding, sum.Asked, sum.Timed, float64(sum.Micros) / 1e6})
		}
	}
	slices.SortFunc(out, func(a, b CheckSecondsRow) int { return cmp.Compare(a.Finding, b.Finding) })
	return out
}

// apart says that pairs of readings have to be asked for.
func (w *walked) apart() bool {
	return slices.ContainsFunc(w.counts, func(m *walk.Month) bool { return m.Apart })
}

// pairs adds up rows as ReadingPairs gives them.
func (w *walked) pairs() []ReadingPairsRow {
	all := []ReadingPairsRow{}
	for _, m := range w.counts {
		for _, p := range m.Pairs {
			all = append(all, ReadingPairsRow(p))
		}
	}
	return addUp(all, samePair, addPair)
}

// filled is what column_fill counts of checks, as a list of rows.
func (w *walked) filled() string {
	rows := make([]string, len(w.counts))
	for i, m := range w.counts {
		f := m.Filled
		rows[i] = fmt.Sprintf("(%d::INTEGER", w.months[i])
		for _, n := range []int64{f.Done, f.NotDone, f.Asked, f.Reading, f.Observer, f.Setting, f.AnimalState, f.Handling, f.Reason, f.AskedAt} {
			rows[i] += fmt.Sprintf(", %d::BIGINT", n)
		}
		rows[i] += ")"
	}
	return "VALUES " + strings.Join(rows, ", ")
}
