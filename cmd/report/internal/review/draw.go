package review

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"time"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// A call is followed up between its 4th and its 10th day: later than the 72
// hours within which need shows, and before owners forget.
const (
	youngestDays = 4
	oldestDays   = 10
	weeksAYear   = 52
)

// drawFloor is the least number of calls to a stratum: one without a call says
// nothing.
const drawFloor = 2

// DrawOptions say which follow-up sample to draw.
type DrawOptions struct {
	// On is a day of the week in which is telephoned; the Monday of its week
	// counts. The zero time takes the last week whose calls the data hold.
	On time.Time
	// Calls is how many to telephone in the week.
	Calls int64
	// Seed makes the draw; the same seed draws the same calls.
	Seed uint64
	// Response is the share of owners expected to answer where the past tells
	// nothing.
	Response float64
}

// Draw is one week's follow-up sample.
type Draw struct {
	AsOf AsOf `json:"as_of"`
	// ID names the draw: its Monday and its seed.
	ID   string    `json:"draw"`
	Seed uint64    `json:"seed"`
	On   time.Time `json:"on"`
	// From and To bound the first contacts, To excluded.
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
	// Complete is whether the data hold a call of the last of these days.
	Complete bool          `json:"complete"`
	Strata   []DrawStratum `json:"strata"`
	// LeftOut counts the episodes of these days that were not eligible.
	LeftOut []DrawReason `json:"left_out"`
	// Plan says what so many calls a week would give in a year.
	Plan []DrawPlan `json:"plan"`
	// Calls are those to telephone, in random order.
	Calls []DrawnCall `json:"calls"`
	// Repeats is how many episodes of these days have an answer of a drawn
	// sample on record since: the week has been drawn before.
	Repeats int64 `json:"repeats"`
}

// DrawStratum is one advised level.
type DrawStratum struct {
	Level    string `json:"level"`
	SentIn   bool   `json:"sent_in"`
	Eligible int64  `json:"eligible"`
	// NoShow is how many of them a practice has noted as not attending.
	NoShow int64 `json:"no_show"`
	Drawn  int64 `json:"drawn"`
	// Probability with which each eligible episode was drawn.
	Probability float64 `json:"probability"`
	// Rate and Response are what the plan rests on: the past year's, or a guess
	// where it holds no answer.
	Rate     float64 `json:"expected_rate"`
	Response float64 `json:"expected_response"`
	Guess    bool    `json:"guess"`
}

// DrawReason counts episodes that cannot be drawn, and says why.
type DrawReason struct {
	Reason string `json:"reason"`
	N      int64  `json:"n"`
}

// DrawPlan is one number of calls a week.
type DrawPlan struct {
	CallsAWeek int64 `json:"calls_a_week"`
	Chosen     bool  `json:"chosen"`
	// HalfWidth is the expected half-width of the limits, after a year, of the
	// share in need among the animals that were not seen.
	HalfWidth float64 `json:"half_width"`
}

// DrawnCall is one episode to telephone.
type DrawnCall struct {
	Call        string    `json:"call"`
	StartedAt   time.Time `json:"started_at"`
	Site        string    `json:"site"`
	Species     string    `json:"species"`
	Complaint   string    `json:"complaint"`
	Advised     string    `json:"advised"`
	SentIn      bool      `json:"sent_in"`
	NoShow      bool      `json:"no_show"`
	Probability float64   `json:"probability"`
}

// BuildDraw draws one week's follow-up sample. The same store, week, seed and
// number give the same list, in whatever order the exports were loaded: an
// episode's place in the draw depends on its pseudonym and the seed alone. What
// was written down after the Monday is not looked at, so loading the answers does
// not change the list. Weeks do not overlap, so no call is drawn twice.
func BuildDraw(ctx context.Context, db *queries.DB, opt Options, draw DrawOptions) (*Draw, error) {
	b, err := newBuilder(ctx, db, opt)
	if err != nil {
		return nil, err
	}
	out := &Draw{AsOf: b.asOf(), Seed: draw.Seed, LeftOut: []DrawReason{}, Plan: []DrawPlan{}, Calls: []DrawnCall{}}
	out.week(draw.On)
	rows, err := db.AuditFrame(ctx, out.From, out.To, out.On)
	// Outcomes are often exported later than calls, so the data cut may lie weeks
	// after the last call.
	for i := 0; err == nil && !out.holds(rows) && draw.On.IsZero() && i < weeksAYear; i++ {
		out.week(out.On.AddDate(0, 0, -7))
		rows, err = db.AuditFrame(ctx, out.From, out.To, out.On)
	}
	if err != nil {
		return nil, err
	}
	out.Complete = out.holds(rows)
	eligible := out.sort(rows)
	strata, err := b.expect(out, draw.Response)
	if err != nil {
		return nil, err
	}
	if err := out.allocate(strata, draw.Calls, b.opt.Confidence); err != nil {
		return nil, err
	}
	out.choose(eligible)
	return out, out.plan(strata, draw.Calls, b.opt.Confidence)
}

// week fixes the days: the Monday of the week of on, or of the last week whose
// days the data hold.
func (d *Draw) week(on time.Time) {
	if on.IsZero() {
		on = d.AsOf.DataCut
	}
	on = time.Date(on.Year(), on.Month(), on.Day(), 0, 0, 0, 0, time.UTC)
	d.On = on.AddDate(0, 0, -(int(on.Weekday())+6)%7)
	d.ID = fmt.Sprintf("%s-%d", d.On.Format("2006-01-02"), d.Seed)
	d.From, d.To = d.On.AddDate(0, 0, -oldestDays), d.On.AddDate(0, 0, 1-youngestDays)
}

// holds reports whether the data reach the last of the days.
func (d *Draw) holds(rows []queries.AuditFrameRow) bool {
	return slices.ContainsFunc(rows, func(x queries.AuditFrameRow) bool { return !x.StartedAt.Before(d.To.AddDate(0, 0, -1)) })
}

// sort counts the frame and keeps the eligible by level.
func (d *Draw) sort(rows []queries.AuditFrameRow) map[int8][]queries.AuditFrameRow {
	eligible := map[int8][]queries.AuditFrameRow{}
	d.Strata = make([]DrawStratum, emergency)
	for level := int8(homeCare); level <= emergency; level++ {
		d.Strata[level-1] = DrawStratum{Level: levelLabels[level], SentIn: sent(level)}
	}
	leftOut := map[string]int64{}
	for _, x := range rows {
		if x.DrawnSince {
			d.Repeats++
		}
		if x.Standing != "eligible" {
			leftOut[x.Standing]++
			continue
		}
		s := &d.Strata[x.Level-1]
		s.Eligible++
		if x.NoShow {
			s.NoShow++
		}
		eligible[x.Level] = append(eligible[x.Level], x)
	}
	for _, r := range []struct{ standing, text string }{
		{"seen", "a visit was on record"}, {"followed_up", "a follow-up call had reached the owner"}, {"drawn", "drawn before"},
	} {
		if n := leftOut[r.standing]; n > 0 {
			d.LeftOut = append(d.LeftOut, DrawReason{r.text, n})
		}
	}
	return eligible
}

// expect fills what each stratum is expected to give, from the past twelve
// months' sample.
func (b *builder) expect(d *Draw, response float64) ([]metrics.AllocationStratum, error) {
	rows, err := b.db.AuditAnswers(b.ctx, b.scope, sameDay)
	if err != nil {
		return nil, err
	}
	past, err := b.followUp(rows, sameDay)
	if err != nil {
		return nil, err
	}
	out := make([]metrics.AllocationStratum, len(d.Strata))
	for i := range d.Strata {
		s, p := &d.Strata[i], past.Strata[i]
		// Half a case more than seen keeps a stratum without one from being
		// taken for free of need.
		s.Rate = (float64(p.Needed) + 0.5) / (float64(p.Answered) + 1)
		s.Response, s.Guess = response, p.Answered == 0
		if p.Drawn > 0 && p.Answered > 0 {
			s.Response = float64(p.Answered) / float64(p.Drawn)
		}
		if s.Guess {
			s.Rate = map[bool]float64{true: 0.3, false: 0.05}[s.SentIn]
		}
		out[i] = metrics.AllocationStratum{Name: s.Level, Eligible: s.Eligible, Rate: s.Rate, Response: s.Response}
	}
	return out, nil
}

// allocate divides the calls between the strata.
func (d *Draw) allocate(strata []metrics.AllocationStratum, calls int64, conf float64) error {
	least := int64(0)
	for _, s := range strata {
		least += min(drawFloor, s.Eligible)
	}
	if calls < least {
		return fmt.Errorf("%w: --calls %d: expected at least %d, two for each level with eligible calls", queries.ErrParameter, calls, least)
	}
	a, err := metrics.AuditAllocation(strata, calls, drawFloor, conf)
	if err != nil {
		return err
	}
	for i := range d.Strata {
		s := &d.Strata[i]
		s.Drawn = a.Calls[i]
		if s.Eligible > 0 {
			s.Probability = float64(s.Drawn) / float64(s.Eligible)
		}
	}
	return nil
}

// choose takes the first of each stratum in the order of a hash.
func (d *Draw) choose(eligible map[int8][]queries.AuditFrameRow) {
	place := func(x queries.AuditFrameRow) string {
		sum := sha256.Sum256(fmt.Appendf(nil, "hindcheck follow-up sample, seed %d, week %s, episode %s", d.Seed, d.On.Format("2006-01-02"), x.Episode))
		return hex.EncodeToString(sum[:])
	}
	type drawn struct {
		place string
		call  DrawnCall
	}
	var all []drawn
	for level := int8(homeCare); level <= emergency; level++ {
		list := eligible[level]
		slices.SortFunc(list, func(a, b queries.AuditFrameRow) int { return cmp.Compare(place(a), place(b)) })
		s := d.Strata[level-1]
		for _, x := range list[:s.Drawn] {
			all = append(all, drawn{place(x), DrawnCall{Call: x.Call, StartedAt: x.StartedAt.UTC(), Site: x.Site, Species: x.Species, Complaint: x.Complaint,
				Advised: s.Level, SentIn: s.SentIn, NoShow: x.NoShow, Probability: s.Probability}})
		}
	}
	slices.SortFunc(all, func(a, b drawn) int { return cmp.Compare(a.place, b.place) })
	for _, x := range all {
		d.Calls = append(d.Calls, x.call)
	}
}

// plan says what half, as many, twice and four times as many calls would give.
func (d *Draw) plan(strata []metrics.AllocationStratum, calls int64, conf float64) error {
	year := slices.Clone(strata)
	total := int64(0)
	for i := range year {
		year[i].Eligible *= weeksAYear
		total += year[i].Eligible
	}
	if total == 0 {
		return nil
	}
	for _, n := range []int64{calls / 2, calls, 2 * calls, 4 * calls} {
		a, err := metrics.AuditAllocation(year, max(n*weeksAYear, drawFloor*int64(len(year))), drawFloor, conf)
		if err != nil {
			return err
		}
		d.Plan = append(d.Plan, DrawPlan{CallsAWeek: n, Chosen: n == calls, HalfWidth: a.HalfWidth / float64(total)})
	}
	return nil
}
