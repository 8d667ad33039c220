package review

import (
	"cmp"
	"fmt"
	"slices"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// Quality says how complete, prompt and steady the records are.
type Quality struct {
	// Columns is the completeness of each column.
	Columns []Column `json:"columns"`
	// Delays are days from the first contact until an outcome was written down,
	// by month of the first contact.
	Delays []Delay `json:"delays"`
	// Links say how outcomes found their episode, by practice.
	Links []Link `json:"links"`
	// Doubtful is the match score below which a link is doubtful.
	Doubtful float64 `json:"doubtful"`
	// Drift compares the words of each column in the month with those of the
	// months before it in the period; Comparisons is how many columns could be.
	Drift       []Drift `json:"drift"`
	Comparisons int     `json:"comparisons"`
}

// Column is the completeness of one column.
type Column struct {
	Record string `json:"record"`
	Column string `json:"column"`
	// Now is the month under review, Period all twelve.
	Now    Figure `json:"now"`
	Period Figure `json:"period"`
	// Fell is whether the month is less complete than the months before by more
	// than chance makes it.
	Fell bool `json:"fell"`
}

// Delay is one month of outcomes.
type Delay struct {
	Month string `json:"month"`
	Label string `json:"label"`
	// Source is vet, owner_follow_up or panel.
	Source   string `json:"source"`
	Outcomes int64  `json:"outcomes"`
	// Seen and Recorded are the days within which half, and nine of ten, were
	// seen and written down; left out where no moment is on record.
	SeenHalf     *int64 `json:"seen_half,omitempty"`
	SeenMost     *int64 `json:"seen_nine_of_ten,omitempty"`
	RecordedHalf *int64 `json:"recorded_half,omitempty"`
	RecordedMost *int64 `json:"recorded_nine_of_ten,omitempty"`
	// InLag is the share written down within the window and the lag that a month
	// waits before it counts as mature.
	InLag Figure `json:"in_lag"`
	// Mature is whether outcomes of that month have had time to arrive.
	Mature bool `json:"mature"`
}

// Link is one practice's outcomes of the period.
type Link struct {
	// Practice is empty for outcomes without one, such as follow-up calls.
	Practice string `json:"practice"`
	Source   string `json:"source"`
	Linked   Figure `json:"linked"`
	ByCall   int64  `json:"by_call"`
	ByAnimal int64  `json:"by_animal"`
	// DoubtfulShare is of those with a match score.
	DoubtfulShare Figure `json:"doubtful_share"`
}

// Drift compares the words of one column.
type Drift struct {
	Column string `json:"column"`
	Label  string `json:"label"`
	// Distance is half the sum of (p - q)^2 / (p + q) over the words: 0 for the
	// same shares, 1 for nothing in common. P is Pearson's test of homogeneity.
	Distance float64  `json:"distance"`
	P        *float64 `json:"p,omitempty"`
	// Now and Before are the numbers behind it.
	Now    int64 `json:"now"`
	Before int64 `json:"before"`
	// Word moved most: its share in both and their difference.
	Word       string `json:"word"`
	WordNow    Figure `json:"word_now"`
	WordBefore Figure `json:"word_before"`
	// New words occur in the month only, Gone ones before it only.
	New  []string `json:"new_words"`
	Gone []string `json:"gone_words"`
	// Note says what to make of it; empty if nothing stands out.
	Note string `json:"note,omitempty"`
	// NotEstimable says why there is no comparison.
	NotEstimable string `json:"not_estimable,omitempty"`
}

// doubtfulScore is a match score below which common practice has a person look.
const doubtfulScore = 0.8

func (b *builder) fillQuality(r *Review) error {
	q := &r.Quality
	q.Columns, q.Delays, q.Links, q.Drift, q.Doubtful = []Column{}, []Delay{}, []Link{}, []Drift{}, doubtfulScore
	for _, fill := range []func(*Quality) error{b.columns, b.delays, b.links, b.drift} {
		if err := fill(q); err != nil {
			return err
		}
	}
	return nil
}

// columns sums completeness over the period and holds the month beside it.
func (b *builder) columns(q *Quality) error {
	rows, err := b.db.ColumnFill(b.ctx, b.scope)
	if err != nil {
		return err
	}
	for i := 0; i < len(rows); {
		first, c := rows[i], Column{Record: rows[i].Record, Column: rows[i].Column}
		var filled, n, nowFilled, nowN int64
		for ; i < len(rows) && rows[i].Record == first.Record && rows[i].Column == first.Column; i++ {
			filled, n = filled+rows[i].Filled, n+rows[i].N
			if rows[i].Month == b.scope.To {
				nowFilled, nowN = rows[i].Filled, rows[i].N
			}
		}
		all, err := metrics.Wilson(filled, n, b.opt.Confidence)
		if err != nil {
			return err
		}
		now, err := metrics.Wilson(nowFilled, nowN, b.opt.Confidence)
		if err != nil {
			return err
		}
		d, err := metrics.NewcombeDifference(nowFilled, nowN, filled-nowFilled, n-nowN, b.opt.Confidence)
		if err != nil {
			return err
		}
		c.Now, c.Period, c.Fell = figure(now), figure(all), d.Estimable() && d.High < 0
		q.Columns = append(q.Columns, c)
	}
	return nil
}

func (b *builder) delays(q *Quality) error {
	scope := b.trendScope()
	scope.From = b.scope.From
	rows, err := b.db.OutcomeDelays(b.ctx, scope)
	if err != nil {
		return err
	}
	wait := (b.opt.Window + b.opt.Lag).Hours() / 24
	for i := 0; i < len(rows); {
		first := rows[i]
		d := Delay{Month: queries.FormatMonth(first.Month), Label: queries.MonthStart(first.Month).Format("Jan 06"), Source: first.Source, Mature: b.oldEnough(first.Month)}
		days := map[string][]queries.OutcomeDelaysRow{}
		var inLag int64
		for ; i < len(rows) && rows[i].Month == first.Month && rows[i].Source == first.Source; i++ {
			x := rows[i]
			if x.Days >= 0 {
				days[x.Until] = append(days[x.Until], x)
			}
			if x.Until == "seen" {
				d.Outcomes += x.N
			} else if x.Days >= 0 && float64(x.Days) < wait {
				inLag += x.N
			}
		}
		d.SeenHalf, d.SeenMost = daysUntil(days["seen"])
		d.RecordedHalf, d.RecordedMost = daysUntil(days["recorded"])
		var recorded int64
		for _, x := range days["recorded"] {
			recorded += x.N
		}
		e, err := metrics.Wilson(inLag, recorded, b.opt.Confidence)
		if err != nil {
			return err
		}
		d.InLag = figure(e)
		q.Delays = append(q.Delays, d)
	}
	return nil
}

// daysUntil is the least number of days that holds half of them, and nine of
// ten; rows come in the order of days.
func daysUntil(rows []queries.OutcomeDelaysRow) (half, most *int64) {
	var n, sum int64
	for _, x := range rows {
		n += x.N
	}
	for _, x := range rows {
		sum += x.N
		days := int64(x.Days)
		if half == nil && 2*sum >= n {
			half = &days
		}
		if most == nil && 10*sum >= 9*n {
			most = &days
		}
	}
	return half, most
}

func (b *builder) links(q *Quality) error {
	rows, err := b.db.OutcomeLinks(b.ctx, b.scope, doubtfulScore)
	if err != nil {
		return err
	}
	for i := 0; i < len(rows); {
		first := rows[i]
		l := Link{Practice: first.Practice, Source: first.Source}
		var n, scored, doubtful int64
		for ; i < len(rows) && rows[i].Practice == first.Practice && rows[i].Source == first.Source; i++ {
			x := rows[i]
			n, scored, doubtful = n+x.N, scored+x.Scored, doubtful+x.Doubtful
			l.ByCall, l.ByAnimal = l.ByCall+x.ByCall, l.ByAnimal+x.ByAnimal
		}
		linked, err := metrics.Wilson(l.ByCall+l.ByAnimal, n, b.opt.Confidence)
		if err != nil {
			return err
		}
		d, err := metrics.Wilson(doubtful, scored, b.opt.Confidence)
		if err != nil {
			return err
		}
		l.Linked, l.DoubtfulShare = figure(linked), figure(d)
		q.Links = append(q.Links, l)
	}
	return nil
}

// driftDistance is a distance worth a look: that of two words whose shares
// swapped from 55 and 45 per cent is 0.01. A test alone marks trifles where
// there are thousands of calls.
const driftDistance = 0.01

func (b *builder) drift(q *Quality) error {
	rows, err := b.db.CodeShares(b.ctx, b.scope)
	if err != nil {
		return err
	}
	for i := 0; i < len(rows); {
		first := rows[i]
		now, before := map[string]int64{}, map[string]int64{}
		for ; i < len(rows) && rows[i].Column == first.Column; i++ {
			if rows[i].Month == b.scope.To {
				now[rows[i].Code] += rows[i].N
			} else {
				before[rows[i].Code] += rows[i].N
			}
		}
		d, err := b.driftOf(first.Column, now, before)
		if err != nil {
			return err
		}
		if d.NotEstimable == "" {
			q.Comparisons++
		}
		q.Drift = append(q.Drift, d)
	}
	for i := range q.Drift {
		d := &q.Drift[i]
		if d.P != nil && *d.P*float64(q.Comparisons) < 1-b.opt.Confidence && d.Distance > driftDistance {
			d.Note = "the words moved by more than chance: ask whether a form, a list of words or the rules changed before reading it as a change of the animals"
		}
	}
	slices.SortStableFunc(q.Drift, func(a, b Drift) int { return cmp.Compare(b.Distance, a.Distance) })
	return nil
}

// driftOf compares one column; words are in the order of their names.
func (b *builder) driftOf(column string, now, before map[string]int64) (Drift, error) {
	words := []string{}
	for _, m := range []map[string]int64{now, before} {
		for w := range m {
			if !slices.Contains(words, w) {
				words = append(words, w)
			}
		}
	}
	slices.Sort(words)
	a, z := make([]int64, len(words)), make([]int64, len(words))
	name, label := b.codeNames(column)
	d := Drift{Column: column, Label: label, New: []string{}, Gone: []string{}}
	for i, w := range words {
		a[i], z[i] = before[w], now[w]
		d.Before, d.Now = d.Before+a[i], d.Now+z[i]
		switch {
		case a[i] == 0:
			d.New = append(d.New, name(w))
		case z[i] == 0:
			d.Gone = append(d.Gone, name(w))
		}
	}
	s, err := metrics.DistanceOfShares(a, z)
	if err != nil {
		return d, err
	}
	noFigure := Figure{Conf: b.opt.Confidence, NotEstimable: s.NotEstimable}
	if d.NotEstimable = s.NotEstimable; d.NotEstimable != "" {
		d.New, d.Gone, d.WordNow, d.WordBefore = []string{}, []string{}, noFigure, noFigure
		return d, nil
	}
	d.Distance, d.Word = s.Distance, name(words[s.Largest])
	if s.Test.NotEstimable == "" {
		d.P = &s.Test.P
	}
	w, err := metrics.Wilson(z[s.Largest], d.Now, b.opt.Confidence)
	if err != nil {
		return d, err
	}
	v, err := metrics.Wilson(a[s.Largest], d.Before, b.opt.Confidence)
	d.WordNow, d.WordBefore = figure(w), figure(v)
	return d, err
}

// codeNames says how the words of a column are written for people.
func (b *builder) codeNames(column string) (name func(string) string, label string) {
	plain := func(w string) string { return w }
	if column == "level" {
		return func(w string) string {
			var n int
			if _, err := fmt.Sscan(w, &n); err != nil {
				return w
			}
			return word(levelLabels, int8(n))
		}, "advice level"
	}
	for _, f := range b.db.Meta().Findings {
		if f.ID != column {
			continue
		}
		return func(w string) string {
			var n int
			if _, err := fmt.Sscan(w, &n); err != nil || n < 1 || n > len(f.Codes) {
				return w
			}
			return f.Codes[n-1]
		}, f.Label
	}
	return plain, column
}
