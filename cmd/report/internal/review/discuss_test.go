package review

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

// The timeline tells every state of a check, the visit with the vet's own
// readings, and what came close.
func TestStory(t *testing.T) {
	l := newCaseLine(t, queriestest.Row{"f_capillary_refill_s": 15, "f_gum_colour": -2, "age_months": 30, "sex": "female", "neutered": "yes", "breed_group": "large"})
	for i, k := range []queriestest.Row{
		{"finding": "collapse", "state": "done", "value_code": "no"},
		{"finding": "capillary_refill_s", "state": "done", "value_number": 1.5},
		{"finding": "gum_colour", "state": "not_possible", "reason": "dark"},
		{"finding": "temperature_c", "state": "declined"},
		{"finding": "bleeding", "state": "not_asked", "reason": "stopped_early"},
		{"finding": "breathing_rate", "state": "not_asked", "reason": "skip_logic"},
	} {
		k["call"], k["seq"], k["observer"], k["episode_month"] = queriestest.ID(101), i+1, "owner", 202606
		queriestest.Insert(t, l.db, "checks", k)
	}
	l.vet(38.6, 10, false)
	c := l.only()
	if len(c.Timeline) != 2 || c.Timeline[0].What != "first contact" || c.Timeline[1].What != "seen by a vet" || c.HoursLost == nil || *c.HoursLost != 10 {
		t.Fatalf("%+v, %v hours lost", c.Timeline, c.HoursLost)
	}
	var got []string
	for _, k := range c.Timeline[0].Checks {
		got = append(got, k.State+" "+k.Reading+" "+k.Reason)
	}
	want := "done no |done 1.5 s |not_possible  dark|declined  |stopped_early  |not_asked  skip_logic"
	if strings.Join(got, "|") != want {
		t.Errorf("checks %q\nwant   %q", strings.Join(got, "|"), want)
	}
	if len(c.Timeline[1].Checks) != 1 || c.Timeline[1].Checks[0].Reading != "38.6 degC" {
		t.Errorf("the vet's readings: %+v", c.Timeline[1].Checks)
	}
	if c.Animal != "2 years, female, neutered, large" || c.Timeline[0].Notes[0] != "not told when to ring again" {
		t.Errorf("%q, %v", c.Animal, c.Timeline[0].Notes)
	}
	var near []string
	for _, n := range c.Nearly {
		near = append(near, n.Flag+" "+n.Missing)
	}
	if strings.Join(near, "|") != "slow_refill Time until a pressed gum is pink again: 0.5 s short|white_gums Gum colour: not possible" {
		t.Errorf("nearly fired: %v", near)
	}
}

// Warnings do not wait: the month after the one under review is there, however
// young, and a register that nobody asked is not "no complaint".
func TestWarningsWaitForNothing(t *testing.T) {
	l := newCaseLine(t, nil)
	queriestest.Case(t, l.db, l.meta, queriestest.Row{"n": 9, "started_at": time.Date(2026, 9, 28, 8, 0, 0, 0, time.UTC), "level": 1, "later_level": 4, "recontact_24h": true,
		"died": true, "flags": "--------"})
	r := l.review(202606)
	w := r.Warnings
	if len(w.Months) != 2 || w.Months[1].Month != "2026-09" || w.Months[1].Mature || w.Months[1].Any != 1 || w.Months[1].LookedUp != 0 {
		t.Errorf("%+v", w.Months)
	}
	if w.Total != 1 || len(w.Cases) != 1 || strings.Join(w.Cases[0].Signs, "; ") != "died; advised higher later; rang again within 24 hours" {
		t.Errorf("%+v", w.Cases)
	}
}

func TestStayedAwayIsNoMiss(t *testing.T) {
	l := newCaseLine(t, nil)
	for n, row := range []queriestest.Row{
		{"level": 4, "attended": 0, "no_attend_reason": "cost", "need_same_day": 1, "need_emergency": 1},
		{"level": 3, "attended": 0, "need_same_day": 0},
		{"level": 3, "attended": 1},
		{"level": 3},
	} {
		row["n"], row["started_at"], row["flags"] = 20+n, began.AddDate(0, 0, 1), "--------"
		queriestest.Case(t, l.db, l.meta, row)
	}
	r := l.review(202606)
	s := r.StayedAway
	if s.InMonth != 2 || s.InPeriod != 2 || len(s.Reasons) != 2 || s.Reasons[0].Reason != "cost" || s.Reasons[0].Needed != 1 || s.Reasons[1].NotNeeded != 1 {
		t.Errorf("%+v", s)
	}
	if len(s.Levels) != 2 || s.Levels[1].Went != 1 || s.Levels[1].Unknown != 1 || *s.Levels[1].Share.Estimate != 0.5 {
		t.Errorf("%+v", s.Levels)
	}
	if r.Missed.InPeriod != 1 {
		t.Errorf("%d missed, want the first case alone", r.Missed.InPeriod)
	}
}

// Without a row, and with none that is mature, every part says so and holds no
// list that JSON would write as null.
func TestDiscussNothing(t *testing.T) {
	for name, empty := range map[string]bool{"no rows": true, "all immature": false} {
		l := newCaseLine(t, queriestest.Row{"need_same_day": -1, "route": 0})
		if empty {
			if _, err := l.db.Exec(`DELETE FROM cases; DELETE FROM calls`); err != nil {
				t.Fatal(err)
			}
		} else {
			l.meta.DataCut = began.AddDate(0, 0, 5)
			d, err := queries.New(l.db, l.meta)
			if err != nil {
				t.Fatal(err)
			}
			l.d = d
		}
		r := l.review(202606)
		for part, v := range map[string]any{"warnings": r.Warnings, "stayed": r.StayedAway, "missed": r.Missed, "needless": r.Needless, "panel": r.Panel, "follow-up": r.FollowUp, "hurt": r.Safety.Calls} {
			data, err := json.Marshal(v)
			if err != nil || strings.Contains(string(data), "null") {
				t.Errorf("%s, %s: %v in %.300s", name, part, err, data)
			}
		}
		if f := r.FollowUp[0]; f.Rate.Estimable() || f.Drawn != 0 || !strings.Contains(f.Says, "No episode of the period was drawn") {
			t.Errorf("%s: %+v", name, f)
		}
		if r.Missed.InPeriod != 0 || len(r.Missed.Reasons) != len(reasons) {
			t.Errorf("%s: %+v", name, r.Missed)
		}
	}
}

func p(x float64) *float64 { return &x }

// By hand: 40 eligible at home, 10 drawn with probability 0.25, 8 answered, 2 of
// them in need: 10 expected, and one more was found by a visit. A call drawn
// without a probability on record serves no estimate.
func TestFollowUpIsWeighted(t *testing.T) {
	b := &builder{opt: Options{Confidence: 0.95, Draws: 2000, Seed: 1}}
	f, err := b.followUp([]queries.AuditAnswersRow{
		{Level: 1, N: 29, Need: -1},
		{Level: 1, Drawn: true, N: 1, Need: -1},
		{Level: 1, Drawn: true, Probability: p(0.25), Answered: true, Need: 1, N: 2},
		{Level: 1, Drawn: true, Probability: p(0.25), Answered: true, Need: 0, N: 6},
		{Level: 1, Drawn: true, Probability: p(0.25), Need: -1, N: 2},
		{Level: 1, Seen: true, Need: 1, N: 1},
		{Level: 4, Drawn: true, Probability: p(1), Answered: true, Need: 1, N: 3},
	}, sameDay)
	if err != nil {
		t.Fatal(err)
	}
	home := f.Strata[0]
	if home.Eligible != 40 || home.Drawn != 10 || home.Answered != 8 || home.Needed != 2 || home.Weight != 5 || home.Probability != 0.25 || home.Found != 1 || f.NoProbability != 1 {
		t.Errorf("%+v, %d without probability", home, f.NoProbability)
	}
	if math.Abs(*f.Number.Estimate-11) > 1e-9 || math.Abs(*f.Rate.Estimate-11.0/41) > 1e-9 {
		t.Errorf("number %v, rate %v; want 11 and 11/41", *f.Number.Estimate, *f.Rate.Estimate)
	}
	if *f.Silent.Low != 1+40*0.2 || *f.Silent.High != 1+40*0.4 || *f.Response.Estimate != 11.0/13 {
		t.Errorf("silent %v to %v, response %v", *f.Silent.Low, *f.Silent.High, *f.Response.Estimate)
	}
}

// Hers hides below the least number, the line's below three advisors.
func TestFeedbackHidesSmallNumbers(t *testing.T) {
	b := &builder{opt: Options{Confidence: 0.95}}
	got, err := b.compare([]int64{5, 8, 9, 1}, []int64{10, 10, 10, 2}, 0, 10)
	if err != nil || *got.Hers.Estimate != 0.5 || got.Line.Advisors != 3 || *got.Line.Median != 0.8 {
		t.Errorf("%+v, %v", got, err)
	}
	if got, _ = b.compare([]int64{5, 8, 9, 1}, []int64{10, 10, 10, 2}, 3, 10); got.Hers.Estimable() || !strings.Contains(got.Hers.NotEstimable, "fewer than 10 records") {
		t.Errorf("two records of hers: %+v", got.Hers)
	}
	if got, _ = b.compare([]int64{5, 8}, []int64{10, 10}, 0, 10); got.Line.Median != nil || got.Line.Advisors != 2 {
		t.Errorf("two advisors: %+v", got.Line)
	}
}
