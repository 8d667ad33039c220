package review

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

// Every arrow of the flow diagram sums: what comes in is what leaves and what
// goes on.
func TestEveryArrowSums(t *testing.T) {
	for name, db := range map[string]*queries.DB{"year": queriestest.Year(t, 6000, 0.1), "no follow-up": queriestest.Year(t, 3000, 0)} {
		r := build(t, db, options())
		d := r.Diagram
		var out int64
		for _, x := range d.Reasons {
			out += x.N
		}
		for what, pair := range map[string][2]int64{
			"reasons":  {out, d.NotClinical},
			"clinical": {d.Records, d.NotClinical + d.Clinical},
			"episodes": {d.Clinical, d.Further + d.Unplaced + d.Episodes + d.Unmatched},
			"mature":   {d.Episodes, d.Immature + d.Mature},
			"assessed": {d.Mature, d.NoAdvice + d.Assessed},
			"advice":   {d.Assessed, r.Advice[0].Episodes},
		} {
			if pair[0] != pair[1] {
				t.Errorf("%s, %s: %d and %d", name, what, pair[0], pair[1])
			}
		}
		if d.Unmatched != 0 || d.Records == 0 || d.NotClinical == 0 || d.Assessed == 0 {
			t.Errorf("%s: %+v", name, d)
		}
		for i, c := range d.Cuts {
			var sides int64
			for _, s := range c.Sides {
				sides += s.Episodes
				checkSide(t, s)
			}
			if sides != d.Assessed {
				t.Errorf("%s: sides hold %d of %d", c.Cut, sides, d.Assessed)
			}
			v := r.Advice[i].Verified
			if c.Sides[0].Needed != v.TP || c.Sides[0].NotNeeded != v.FP || c.Sides[1].Needed != v.FN || c.Sides[1].NotNeeded != v.TN {
				t.Errorf("%s: the diagram's ends %+v are not the table %+v", c.Cut, c.Sides, v)
			}
		}
	}
}

func checkSide(t *testing.T, s FlowSide) {
	t.Helper()
	routes, needed, not, open := s.NoOutcome, int64(0), int64(0), int64(0)
	for _, x := range s.Routes {
		if x.Episodes != x.Needed+x.NotNeeded+x.Unsettled {
			t.Errorf("%s by %s: %+v", s.Side, x.Route, x)
		}
		routes, needed, not, open = routes+x.Episodes, needed+x.Needed, not+x.NotNeeded, open+x.Unsettled
	}
	if routes != s.Episodes || needed != s.Needed || not != s.NotNeeded || open != s.Unsettled || s.Verified != needed+not || s.Episodes != s.NoOutcome+s.Unsettled+s.Verified {
		t.Errorf("%s does not sum: %+v", s.Side, s)
	}
}

// twoFlags are two flags on two checks, for tables counted by eye.
var twoFlags = queries.Meta{
	Flags: []queries.Flag{
		{ID: "pale_gums", Level: 4, Findings: []string{"gums"}},
		{ID: "slow_refill", Level: 3, Findings: []string{"gums", "refill"}},
	},
	Findings: []queries.Finding{{ID: "gums", Label: "Gums", Codes: []string{"pink", "white"}}, {ID: "refill", Unit: "s", Scale: 10}},
	Window:   72 * time.Hour, DataCut: time.Date(2026, 10, 5, 0, 0, 0, 0, time.UTC),
}

// fewEpisodes fills a store of a few episodes, all of June 2026 unless they say
// otherwise.
func fewEpisodes(t *testing.T, rows []queriestest.Row) *queries.DB {
	t.Helper()
	d, db := queriestest.Open(t, twoFlags)
	for i, row := range rows {
		row["n"] = i + 1
		if row["started_at"] == nil {
			row["started_at"] = time.Date(2026, 6, 2+i, 0, 0, 0, 0, time.UTC)
		}
		queriestest.Case(t, db, twoFlags, row)
	}
	return d
}

func june() Options {
	o := options()
	o.Month = 202606
	return o
}

// What only one flag caught, which answers decided, and what came of overrides,
// counted by eye.
func TestByEye(t *testing.T) {
	r := build(t, fewEpisodes(t, []queriestest.Row{
		{"level": 4, "rule_level": 4, "flags": "+-", "need_emergency": 1, "need_same_day": 1, "route": 1}, // only pale gums caught it, and decided
		{"level": 4, "rule_level": 4, "flags": "++", "need_emergency": 1, "need_same_day": 1, "route": 1}, // both caught it; at emergency only the first demands it
		{"level": 3, "rule_level": 3, "flags": "-+", "need_emergency": 0, "need_same_day": 0, "route": 1}, // only slow refill, needlessly; both its checks decided
		{"level": 3, "rule_level": 3, "flags": "-+"},                                                      // the same, need unknown
		{"level": 3, "rule_level": 1, "flags": "--", "need_emergency": 0, "need_same_day": 1, "route": 1}, // raised, needed
		{"level": 1, "rule_level": 4, "flags": "+-", "need_emergency": 1, "need_same_day": 1, "route": 2}, // lowered, needed; decided nothing
		{"level": 1, "rule_level": 4, "flags": "+-"},                                                      // lowered, unknown
		{"level": 1, "rule_level": 1, "flags": "--", "need_emergency": 0, "need_same_day": 0, "route": 3},
		{"level": 0, "rule_level": 4, "flags": "+-"}, // no advice: in no override
	}), june())
	f := r.Flags[0].Flags
	if c := f[0].OnlyThis; c.AloneNeeded != 2 || c.AloneNotNeeded != 0 || c.AloneUnverified != 2 || c.SensitivityLost.Numerator != 2 || c.SensitivityLost.Denominator != 4 {
		t.Errorf("only pale gums: %+v", c)
	}
	if c := f[1].OnlyThis; c.AloneNeeded != 0 || c.AloneNotNeeded != 1 || c.AloneUnverified != 1 || c.SpecificityGained.Numerator != 1 || c.SpecificityGained.Denominator != 2 {
		t.Errorf("only slow refill: %+v", c)
	}
	if c := r.Flags[1].Flags; c[1].OnlyThis != nil || c[0].OnlyThis.AloneNeeded != 3 {
		t.Errorf("at emergency: %+v, %+v", c[0].OnlyThis, c[1].OnlyThis)
	}
	// Gums are read by both flags and decided 1 to 4 but for nothing else; the
	// refill decided 3 and 4 only.
	rows := []queries.FlagPatternsRow{
		{Fired: []int{0}, Level: 4, N: 1}, {Fired: []int{0, 1}, Level: 4, N: 1}, {Fired: []int{1}, Level: 3, N: 2}, {Fired: []int{0}, Level: 1, N: 2},
		{Fired: []int{0, 1}, Level: 3, N: 5}, // both demand enough: only what both read decided
	}
	if got := decidedBy(rows, twoFlags); !slices.Equal(got, []int64{9, 2}) {
		t.Errorf("decided: %v", got)
	}
	want := []Override{
		{Direction: "raised", Cut: "same_day", CutLabel: "same day or sooner", Needed: 1},
		{Direction: "lowered", Cut: "same_day", CutLabel: "same day or sooner", Needed: 1, Unverified: 1},
		{Direction: "raised", Cut: "emergency", CutLabel: "emergency"},
		{Direction: "lowered", Cut: "emergency", CutLabel: "emergency", Needed: 1, Unverified: 1},
	}
	for i, o := range r.Units.Overrides {
		o.Share, o.NeededShare, o.Range = Figure{}, Figure{}, Range{}
		if diff := cmp.Diff(want[i], o); diff != "" {
			t.Errorf("override (-want +got)\n%s", diff)
		}
	}
	if o := r.Units.Overrides[1]; o.Share.Numerator != 2 || o.Share.Denominator != 6 || *o.Range.Low != 0.5 || *o.Range.High != 1 {
		t.Errorf("lowered: %+v", o)
	}
	if l := r.Levels; l.ApartTotal != 0 || !l.Kappa.Estimable() && l.Kappa.NotEstimable == "" || !strings.Contains(l.Weights, "linear") {
		t.Errorf("levels: %+v", l)
	}
}

// The worst cells are cases, and their number is that of the table.
func TestWorstCells(t *testing.T) {
	r := build(t, fewEpisodes(t, []queriestest.Row{
		{"level": 1, "vet_level": 4, "route": 2, "flags": "--", "died": true},
		{"level": 1, "vet_level": 3, "route": 2, "flags": "--"},
		{"level": 2, "vet_level": 4, "route": 2, "flags": "--"},
		{"level": 2, "vet_level": 3, "route": 2, "flags": "--"}, // one level: not among the worst
		{"level": 4, "vet_level": 1, "route": 1, "flags": "--"}, // too urgent
		{"level": 1, "vet_level": 4, "route": 2, "flags": "--", "started_at": time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)},
	}), june())
	l := r.Levels
	if l.ApartTotal != 3 || len(l.Apart) != 3 || !l.Apart[0].Died || l.Apart[0].Advised != "home care" || l.Apart[0].Seen != "emergency" {
		t.Errorf("%+v", l)
	}
	want := []WorstCell{{"home care", "emergency", 1}, {"soon", "emergency", 1}, {"home care", "same day", 1}}
	if diff := cmp.Diff(want, l.Worst); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}

// Groups sum to the line, and a misses list is never made of shrunken figures.
func TestGroupsSum(t *testing.T) {
	r := build(t, queriestest.Year(t, 8000, 0.1), options())
	for i, g := range r.Groups {
		a := r.Advice[i]
		for _, p := range g.Properties {
			var n, fn, unverified int64
			for _, x := range p.Rows {
				n, fn, unverified = n+x.Episodes, fn+x.Verified.FN, unverified+x.Unverified.Present+x.Unverified.Absent
				if x.Shrunken != nil && (x.Under.Naive.Estimable() && math.Abs(*x.Shrunken.Estimate-*x.Under.Naive.Estimate) > 0.5) {
					t.Errorf("%s %s: shrunken %v of %v", p.Property, x.Value, *x.Shrunken.Estimate, *x.Under.Naive.Estimate)
				}
			}
			if n != a.Episodes || fn != a.Verified.FN || unverified != a.Unverified.Present+a.Unverified.Absent {
				t.Errorf("%s at %s: %d episodes, %d missed, %d unverified of %+v", p.Property, g.Cut, n, fn, unverified, a)
			}
			if (p.NotShrunken == "") != (len(p.Rows) > 0 && p.Rows[0].Shrunken != nil) {
				t.Errorf("%s: shrunken figures and a reason for having none", p.Property)
			}
		}
	}
	for _, f := range r.Units.Funnels {
		if !slices.IsSortedFunc(f.Units, func(a, b FunnelUnit) int { return strings.Compare(a.Name, b.Name) }) {
			t.Errorf("%s %s: units are not in the order of their names", f.Kind, f.Measure)
		}
		for _, u := range f.Units {
			if len(u.Name) > 8 && f.Kind == "advisor" {
				t.Errorf("advisor %s is not shortened", u.Name)
			}
		}
	}
}

// One advisor who sends in far more than chance allows stands out; one with few
// calls is not judged.
func TestFunnelByEye(t *testing.T) {
	var rows []queriestest.Row
	add := func(advisor, n, escalated int) {
		for i := range n {
			level := 1
			if i < escalated {
				level = 3
			}
			rows = append(rows, queriestest.Row{"level": level, "flags": "--", "advisor": queriestest.ID(advisor), "started_at": time.Date(2026, 6, 1+i%28, 0, 0, 0, 0, time.UTC)})
		}
	}
	add(1, 60, 12)
	add(2, 60, 13)
	add(3, 60, 40)
	add(4, 5, 5)
	r := build(t, fewEpisodes(t, rows), june())
	i := slices.IndexFunc(r.Units.Funnels, func(f FunnelPlot) bool { return f.Kind == "advisor" })
	f := r.Units.Funnels[i]
	if len(f.Units) != 4 || f.Judged != 3 || f.OutsideOuter != 1 || f.Widened {
		t.Fatalf("%+v", f)
	}
	if u := f.Units; u[2].Outside != 2 || u[3].NotJudged == "" || u[3].Outside != 0 || u[0].Share.Numerator != 12 {
		t.Errorf("%+v", u)
	}
	if f.Differ.P == nil || *f.Differ.P > 0.001 {
		t.Errorf("differ: %+v", f.Differ)
	}
}

// A change of the level is found, said in words, and marked where it happened;
// limits begin anew only where a file says so.
func TestChartSignals(t *testing.T) {
	var rows []queriestest.Row
	at := time.Date(2024, 9, 1, 9, 0, 0, 0, time.UTC)
	for month := range 24 {
		for i := range 60 {
			level := 1
			if i < 12 || month >= 12 && i < 40 {
				level = 3
			}
			set := "v1"
			if month >= 12 {
				set = "v2"
			}
			rows = append(rows, queriestest.Row{"level": level, "flags": "--", "ruleset": set, "started_at": at.AddDate(0, month, i%27)})
		}
	}
	opt := options()
	opt.Month = 202608
	r := build(t, fewEpisodes(t, rows), opt)
	c := r.Charts[0]
	if len(c.Points) != 24 || c.Phases[0].Points != 24 || c.Phases[0].Provisional || len(c.Signals) == 0 {
		t.Fatalf("%+v", c)
	}
	if said := strings.Join(c.Signals, " "); !strings.Contains(said, "12 points in a row lie on one side") || !strings.Contains(said, "crossed 1 time,") {
		t.Errorf("signals: %s", said)
	}
	if len(r.Events) != 1 || r.Events[0].Source != "records" || len(c.Points[12].Events) != 1 || !strings.Contains(c.Points[12].Events[0], "v2") {
		t.Errorf("events: %+v, %+v", r.Events, c.Points[12].Events)
	}
	opt.Events = []Event{{Date: time.Date(2025, 8, 30, 0, 0, 0, 0, time.UTC), What: "rules v2", Source: "file", NewLimits: true}}
	again := build(t, fewEpisodes(t, rows), opt).Charts[0]
	if len(again.Phases) != 2 || again.Phases[1].Points != 12 || again.Phases[1].Cause != "rules v2" || len(again.Signals) != 0 || !again.Phases[0].Provisional {
		t.Errorf("with limits of their own: %+v %v", again.Phases, again.Signals)
	}
}

func TestReadEvents(t *testing.T) {
	got, err := ReadEvents("e.yaml", []byte("events:\n  - {date: 2026-03-01, what: new rules, new_limits: true}\n  - {date: 2026-04-01, what: a feed}\n"))
	if err != nil || len(got) != 2 || !got[0].NewLimits || got[1].NewLimits || got[1].What != "a feed" {
		t.Errorf("%+v %v", got, err)
	}
	for _, text := range []string{"", "events: 3", "events:\n  - {date: 3.3.2026, what: x}", "events:\n  - {what: x}", "events:\n  - {date: 2026-03-01}", "events:\n  - {date: 2026-03-01, what: x, why: y}"} {
		if _, err := ReadEvents("e.yaml", []byte(text)); err == nil || !strings.Contains(err.Error(), "e.yaml") {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// The same definition beside itself changes nothing; a wider one counts more in
// need, and the difference is found by pair.
func TestBesideDefinition(t *testing.T) {
	d, db := queriestest.YearTables(t, 6000, 0.1)
	if _, err := db.Exec("INSERT INTO stored_cases SELECT * FROM cases"); err != nil {
		t.Fatal(err)
	}
	opt := options()
	opt.Also = d
	x := build(t, d, opt).Beside[0]
	for _, row := range x.Rows {
		if row.Difference.Estimable() && *row.Difference.Estimate != 0 || row.Signal {
			t.Errorf("a definition beside itself: %+v", row)
		}
	}
	if p := x.Pairs[0]; p.FirstOnly+p.SecondOnly != 0 || p.Both == 0 || p.P != 1 {
		t.Errorf("pairs: %+v", p)
	}
	// The first definition did not count every seventh animal in need.
	if _, err := db.Exec("UPDATE stored_cases SET need_same_day = 0 WHERE need_same_day = 1 AND hash(episode) % 7 = 0"); err != nil {
		t.Fatal(err)
	}
	x = build(t, d, opt).Beside[0]
	if p := x.Pairs[0]; p.SecondOnly == 0 || p.FirstOnly != 0 || *p.Difference.Low <= 0 || p.P > 0.001 || *p.Kappa.Estimate >= 1 {
		t.Errorf("pairs: %+v", p)
	}
}

func TestBesidePeriod(t *testing.T) {
	d := queriestest.Year(t, 8000, 0.1)
	opt := options()
	opt.Month, opt.CompareFrom, opt.CompareTo = 202607, 202507, 202507
	x := build(t, d, opt).Beside[0]
	if len(x.Rows) != 16 || x.Rows[0].Difference.Estimable() != x.Rows[0].Second.Estimable() || strings.Contains(x.Note, "share months") {
		t.Errorf("%+v", x)
	}
	a, z, diff := x.Rows[1].First, x.Rows[1].Second, x.Rows[1].Difference
	if math.Abs(*diff.Estimate-(*z.Estimate-*a.Estimate)) > 1e-12 || *diff.Low > *diff.Estimate || *diff.High < *diff.Estimate {
		t.Errorf("%+v", x.Rows[1])
	}
	opt.CompareFrom, opt.CompareTo = 202601, 202602
	x = build(t, d, opt).Beside[0]
	for _, row := range x.Rows {
		if row.Difference.Estimable() || row.Signal {
			t.Errorf("periods that share months have a difference: %+v", row)
		}
	}
}

// Changes compare with the months before, and say when they cannot.
func TestFlagChanges(t *testing.T) {
	var rows []queriestest.Row
	for i := range 200 {
		flags := "--"
		if i < 10 {
			flags = "+-"
		}
		rows = append(rows, queriestest.Row{"level": 1, "flags": flags, "started_at": time.Date(2025, 5, 1+i%28, 0, 0, 0, 0, time.UTC)})
		if i < 60 {
			flags = "+-"
		}
		rows = append(rows, queriestest.Row{"level": 1, "flags": flags, "started_at": time.Date(2026, 6, 1+i%28, 0, 0, 0, 0, time.UTC)})
	}
	d := fewEpisodes(t, rows)
	r := build(t, d, june())
	f := r.Flags[0]
	if c := f.Flags[0].Change; f.Baseline.Months != 1 || c.Found.Now.Numerator != 60 || c.Found.Before.Numerator != 10 || !c.Found.Signal || !c.Found.Among || c.PPV.Signal {
		t.Errorf("%+v %+v", f.Baseline, c)
	}
	if f.Baseline.Comparisons != 3 || math.Abs(f.Baseline.ConfAll-(1-0.05/3)) > 1e-12 {
		t.Errorf("%+v", f.Baseline)
	}
	o := june()
	o.BaselineFrom, o.BaselineTo = 202606, 202606
	if b := build(t, d, o).Flags[0].Baseline; !strings.Contains(b.NotComparable, "share months") {
		t.Errorf("%+v", b)
	}
	o.BaselineFrom, o.BaselineTo = 202301, 202312
	if b := build(t, d, o).Flags[0].Baseline; !strings.Contains(b.NotComparable, "no episodes") {
		t.Errorf("%+v", b)
	}
}

// Words that move are named, with what is new and what is gone.
func TestDrift(t *testing.T) {
	var rows []queriestest.Row
	for i := range 300 {
		gums := 1
		if i%5 == 0 {
			gums = 2
		}
		rows = append(rows, queriestest.Row{"level": 1, "flags": "--", "f_gums": gums, "complaint": "fits", "started_at": time.Date(2026, 5, 1+i%28, 0, 0, 0, 0, time.UTC)})
		complaint := "fits"
		if i%2 == 0 {
			complaint = "seizure" // the same thing under another word
		}
		rows = append(rows, queriestest.Row{"level": 1, "flags": "--", "f_gums": gums, "complaint": complaint, "started_at": time.Date(2026, 6, 1+i%28, 0, 0, 0, 0, time.UTC)})
	}
	q := build(t, fewEpisodes(t, rows), june()).Quality
	d := q.Drift[0]
	if d.Column != "complaint" || d.Word == "" || !slices.Equal(d.New, []string{"seizure"}) || d.Note == "" || *d.P > 1e-6 || d.WordNow.Denominator != 300 {
		t.Errorf("%+v", d)
	}
	i := slices.IndexFunc(q.Drift, func(x Drift) bool { return x.Column == "gums" })
	if g := q.Drift[i]; g.Distance > 1e-12 || g.Note != "" || g.Label != "Gums" || g.Word != "pink" && g.Word != "white" {
		t.Errorf("%+v", g)
	}
}

func TestDaysUntil(t *testing.T) {
	rows := []queries.OutcomeDelaysRow{{Days: 0, N: 4}, {Days: 2, N: 1}, {Days: 5, N: 4}, {Days: 40, N: 1}}
	half, most := daysUntil(rows)
	if *half != 2 || *most != 5 {
		t.Errorf("half within %d, nine of ten within %d", *half, *most)
	}
	if half, most := daysUntil(nil); half != nil || most != nil {
		t.Error("of none there is no day")
	}
}

// A check without times has no price, and says so.
func TestAnswersWithoutTimes(t *testing.T) {
	d, db := queriestest.Open(t, twoFlags)
	at := time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC)
	for n := range 4 {
		queriestest.Case(t, db, twoFlags, queriestest.Row{"n": n + 1, "level": 4, "rule_level": 4, "flags": "+-", "started_at": at})
		id := queriestest.ID(100 + n + 1)
		queriestest.Insert(t, db, "calls", queriestest.Row{"call": id, "episode": id, "episode_month": 202606, "contact_type": "clinical", "started_at": at, "ended_at": at.Add(time.Minute)})
		queriestest.Insert(t, db, "checks", queriestest.Row{"call": id, "finding": "gums", "state": "done", "seq": 1, "episode_month": 202606, "asked_at": at.Add(20 * time.Second)})
		queriestest.Insert(t, db, "checks", queriestest.Row{"call": id, "finding": "refill", "state": "declined", "seq": 2, "episode_month": 202606})
	}
	r := build(t, d, june())
	if len(r.Answers) != 2 {
		t.Fatalf("%+v", r.Answers)
	}
	// The refill has no time, so the gums last until the end of the call.
	if a := r.Answers[1]; a.Seconds != nil || a.Each.Estimable() || !strings.Contains(a.Each.NotEstimable, "on record") {
		t.Errorf("refill: %+v", a)
	}
	if a := r.Answers[0]; a.Asked != 4 || a.Decided != 4 {
		t.Errorf("gums: %+v", a)
	}
}

// Reviews of lopsided stores are honest and complete.
func TestLopsided(t *testing.T) {
	for name, rows := range map[string][]queriestest.Row{
		"one site, one species": {{"level": 4, "flags": "+-", "route": 1, "need_emergency": 1, "need_same_day": 1}, {"level": 1, "flags": "--", "route": 3, "need_emergency": 0, "need_same_day": 0}},
		"everything escalated":  {{"level": 4, "flags": "++"}, {"level": 4, "flags": "++", "route": 1, "need_emergency": 1, "need_same_day": 1}},
		"nothing escalated":     {{"level": 1, "flags": "--"}, {"level": 2, "flags": "??"}},
		"nothing recorded":      {{"level": 0, "rule_level": 0, "flags": "??", "site": nil, "species": nil, "complaint": nil}},
	} {
		t.Run(name, func(t *testing.T) {
			r := build(t, fewEpisodes(t, rows), june())
			for _, f := range r.Units.Funnels {
				if f.NotEstimable == "" && f.Target == nil || len(f.Units) > 0 && f.Judged > 0 {
					t.Errorf("%s %s judges units of one or two episodes: %+v", f.Kind, f.Measure, f)
				}
			}
			for _, c := range r.Charts {
				if len(c.Signals) > 0 {
					t.Errorf("%s: a signal from nothing: %v", c.Name, c.Signals)
				}
			}
			if len(r.Groups) != 2 || len(r.Diagram.Cuts) != 2 || r.Conclusion.Verdict == NoConcern {
				t.Errorf("%s, %+v", r.Conclusion.Verdict, r.Diagram)
			}
		})
	}
}

// Outcomes that do not settle the need, episodes without advice and young ones
// each have their place in the flow.
func TestFlowByEye(t *testing.T) {
	d := build(t, fewEpisodes(t, []queriestest.Row{
		{"level": 4, "flags": "--", "route": 1, "need_emergency": 1, "need_same_day": 1},
		{"level": 4, "flags": "--", "route": 1},                                          // seen, but nothing that settles it
		{"level": 3, "flags": "--", "route": 1, "need_emergency": 0, "need_same_day": 1}, // settled at both cuts, escalated at one
		{"level": 1, "flags": "--", "route": 3, "need_emergency": 0},                     // settled for an emergency only
		{"level": 1, "flags": "--"},
		{"level": 0, "flags": "--", "route": 1, "need_emergency": 1, "need_same_day": 1},
		{"level": 1, "flags": "--", "route": 1, "need_same_day": 1, "started_at": time.Date(2026, 6, 30, 0, 0, 0, 0, time.UTC)},
	}), func() Options { o := june(); o.Lag = 94 * 24 * time.Hour; return o }()).Diagram
	if d.Episodes != 7 || d.Immature != 1 || d.NoAdvice != 1 || d.Assessed != 5 {
		t.Fatalf("%+v", d)
	}
	sameDay, emergency := d.Cuts[0].Sides, d.Cuts[1].Sides
	for _, sides := range [][]FlowSide{sameDay, emergency} {
		for _, s := range sides {
			checkSide(t, s)
		}
	}
	type ends struct{ episodes, none, unsettled, needed, not int64 }
	of := func(s FlowSide) ends { return ends{s.Episodes, s.NoOutcome, s.Unsettled, s.Needed, s.NotNeeded} }
	for i, want := range []ends{{3, 0, 1, 2, 0}, {2, 1, 1, 0, 0}, {2, 0, 1, 1, 0}, {3, 1, 0, 0, 2}} {
		if got := of(append(slices.Clone(sameDay), emergency...)[i]); got != want {
			t.Errorf("side %d: %+v, want %+v", i, got, want)
		}
	}
}
