package queries

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
)

// byMonth asks a question that joins every check with its call one month at a
// time where the line is long: all tables lie in the month of the episode, and
// a join or window over a year of a long line would fill memory and then a disk.
// same compares the rows that are one, in the order of the question, and add
// sums two of them.
func byMonth[T any](ctx context.Context, d *DB, s Scope, ask func(Scope) ([]T, error), same func(a, b T) int, add func(into *T, row T)) ([]T, error) {
	if !d.isLong() {
		return ask(s)
	}
	all, err := eachMonth(s, ask)
	if err != nil {
		return nil, err
	}
	return addUp(all, same, add), nil
}

// addUp adds the rows that are one to each other, and puts all in order.
func addUp[T any](all []T, same func(a, b T) int, add func(into *T, row T)) []T {
	slices.SortStableFunc(all, same)
	out := all[:0]
	for _, row := range all {
		if n := len(out); n > 0 && same(out[n-1], row) == 0 {
			add(&out[n-1], row)
		} else {
			out = append(out, row)
		}
	}
	return out
}

// monthsAtOnce is how many months are asked about side by side: one is planned,
// or walked by a single thread, while the other is counted.
const monthsAtOnce = 2

// eachMonth asks about every month of a scope and gives the rows in the order of
// the months.
func eachMonth[T any](s Scope, ask func(Scope) ([]T, error)) ([]T, error) {
	months := monthsOf(s)
	rows, errs := make([][]T, len(months)), make([]error, len(months))
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(monthsAtOnce, len(months)) {
		workers.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(months); i = int(next.Add(1)) - 1 {
				one := s
				one.From, one.To = months[i], months[i]
				rows[i], errs[i] = ask(one)
			}
		})
	}
	workers.Wait()
	return slices.Concat(rows...), errors.Join(errs...)
}

// monthsOf lists the months of a scope.
func monthsOf(s Scope) (months []int) {
	for month := s.From; month <= s.To; month = AddMonths(month, 1) {
		months = append(months, month)
	}
	return months
}

// isLong says whether the line has more episodes than are read into memory.
func (d *DB) isLong() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.long
}

// casesHeld says whether the episodes have been read into memory.
func (d *DB) casesHeld() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.held
}

func sameHandling(a, b CheckHandlingRow) int {
	return cmp.Or(cmp.Compare(a.Finding, b.Finding), cmp.Compare(a.Species, b.Species), cmp.Compare(a.Handling, b.Handling),
		cmp.Compare(a.State, b.State), cmp.Compare(a.Reason, b.Reason))
}

func samePair(a, b ReadingPairsRow) int {
	inTime := map[bool]int{true: 1}
	return cmp.Or(cmp.Compare(a.Finding, b.Finding), cmp.Compare(inTime[a.Comparable], inTime[b.Comparable]), cmp.Compare(a.OwnerCode, b.OwnerCode),
		cmp.Compare(a.VetCode, b.VetCode), missingLast(a.OwnerNumber, b.OwnerNumber), missingLast(a.VetNumber, b.VetNumber))
}

func addPair(into *ReadingPairsRow, row ReadingPairsRow) { into.N += row.N }

// missingLast puts what is missing last, as DuckDB does.
func missingLast[T cmp.Ordered](a, b *T) int {
	switch {
	case a != nil && b != nil:
		return cmp.Compare(*a, *b)
	case a == b:
		return 0
	case a == nil:
		return 1
	}
	return -1
}
