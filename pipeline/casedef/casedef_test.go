package casedef

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/strict"
)

const demoFile = "../../datasets/demo/case_definition.yaml"

func demo(t testing.TB) *Definition {
	t.Helper()
	d, err := Load(demoFile)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

var start = time.Date(2026, 1, 10, 22, 0, 0, 0, time.UTC)

// blank is an outcome in which nothing is recorded.
func blank(hours float64, source codes.Source, route codes.Route) Outcome {
	return Outcome{Source: source, Route: route, SeenAt: start.Add(time.Duration(hours * float64(time.Hour))),
		TimeCritical: codes.Unknown, Responded: codes.Unknown, ID: [16]byte{byte(hours)}}
}

// vet is a vet's row of a sent animal: level, disposition, no critical treatment.
func vet(hours float64, level codes.Level, disposition string) Outcome {
	o := blank(hours, codes.Vet, codes.AdvisedVisit)
	o.VetLevel, o.Disposition, o.TimeCritical = level, disposition, codes.No
	return o
}

// owner is a call-back in which the owner was reached at callHours and told of
// something that was at seenHours.
func owner(seenHours, callHours float64, level codes.Level, disposition string) Outcome {
	o := blank(seenHours, codes.OwnerFollowUp, codes.CallBack)
	o.VetLevel, o.Disposition, o.Responded = level, disposition, codes.Yes
	o.RecordedAt = start.Add(time.Duration(callHours * float64(time.Hour)))
	return o
}

func with(o Outcome, change func(*Outcome)) Outcome { change(&o); return o }

const (
	yes, no, unk         = codes.Yes, codes.No, codes.Unknown
	em, sd, soon, home   = codes.Emergency, codes.SameDay, codes.Soon, codes.HomeCare
	noLevel              = codes.NoLevel
	visitRoute, ownRoute = codes.AdvisedVisit, codes.OwnDecision
)

func TestNeeds(t *testing.T) {
	d := demo(t)
	route := func(r codes.Route) func(*Outcome) { return func(o *Outcome) { o.Route = r } }
	put := func(reason string) func(*Outcome) { return func(o *Outcome) { o.EuthanasiaReason = reason } }
	for _, c := range []struct {
		name                   string
		outcomes               []Outcome
		emergency, sameDay     codes.Tri
		route                  codes.Route
		conflicts              int16
		source                 codes.Source
		disposition            string
		attended               codes.Tri
		level                  codes.Level
		died, selected, answer bool
	}{
		{name: "nothing known", emergency: unk, sameDay: unk, attended: unk},
		{name: "vet: home care", outcomes: []Outcome{vet(2, home, "sent_home")}, emergency: no, sameDay: no,
			route: visitRoute, source: codes.Vet, disposition: "sent_home", attended: yes, level: home},
		{name: "vet: same day", outcomes: []Outcome{vet(2, sd, "treated_sent_home")}, emergency: no, sameDay: yes,
			route: visitRoute, source: codes.Vet, disposition: "treated_sent_home", attended: yes, level: sd},
		{name: "vet: emergency", outcomes: []Outcome{vet(2, em, "admitted")}, emergency: yes, sameDay: yes,
			route: visitRoute, source: codes.Vet, disposition: "admitted", attended: yes, level: em},
		{name: "admission makes a same-day need only", outcomes: []Outcome{vet(2, soon, "admitted")}, emergency: no, sameDay: yes,
			route: visitRoute, source: codes.Vet, disposition: "admitted", attended: yes, level: soon},
		{name: "operation makes both", outcomes: []Outcome{vet(2, soon, "operated")}, emergency: yes, sameDay: yes,
			route: visitRoute, source: codes.Vet, disposition: "operated", attended: yes, level: soon},
		{name: "time-critical treatment makes both", outcomes: []Outcome{with(vet(2, soon, "sent_home"), func(o *Outcome) { o.TimeCritical = yes })},
			emergency: yes, sameDay: yes, route: visitRoute, source: codes.Vet, disposition: "sent_home", attended: yes, level: soon},
		{name: "dead on arrival", outcomes: []Outcome{vet(2, noLevel, "dead_on_arrival")}, emergency: yes, sameDay: yes,
			route: visitRoute, source: codes.Vet, disposition: "dead_on_arrival", attended: yes, died: true},
		{name: "euthanasia for prognosis", outcomes: []Outcome{with(vet(2, soon, "euthanised"), put("prognosis"))}, emergency: yes, sameDay: yes,
			route: visitRoute, source: codes.Vet, disposition: "euthanised", attended: yes, level: soon, died: true},
		{name: "euthanasia without a reason counts as unknown, which is listed", outcomes: []Outcome{vet(2, soon, "euthanised")},
			emergency: yes, sameDay: yes, route: visitRoute, source: codes.Vet, disposition: "euthanised", attended: yes, level: soon, died: true},
		{name: "euthanasia for cost is no need by itself", outcomes: []Outcome{with(vet(2, soon, "euthanised"), put("cost"))}, emergency: no, sameDay: no,
			route: visitRoute, source: codes.Vet, disposition: "euthanised", attended: yes, level: soon, died: true},

		// A missing component is unknown, not negative.
		{name: "vet gives no level", outcomes: []Outcome{vet(2, noLevel, "sent_home")}, emergency: unk, sameDay: unk,
			route: visitRoute, source: codes.Vet, disposition: "sent_home", attended: yes},
		{name: "vet gives a level only", outcomes: []Outcome{vet(2, home, "")}, emergency: unk, sameDay: unk,
			route: visitRoute, source: codes.Vet, attended: yes, level: home},
		{name: "treatment not recorded", outcomes: []Outcome{with(vet(2, home, "sent_home"), func(o *Outcome) { o.TimeCritical = unk })},
			emergency: unk, sameDay: unk, route: visitRoute, source: codes.Vet, disposition: "sent_home", attended: yes, level: home},
		{name: "not recorded, but another component is yes", outcomes: []Outcome{with(vet(2, sd, "sent_home"), func(o *Outcome) { o.TimeCritical = unk })},
			emergency: unk, sameDay: yes, route: visitRoute, source: codes.Vet, disposition: "sent_home", attended: yes, level: sd},
		{name: "referred: what followed is unknown", outcomes: []Outcome{vet(2, soon, "referred")}, emergency: unk, sameDay: unk,
			route: visitRoute, source: codes.Vet, disposition: "referred", attended: yes, level: soon},
		{name: "blank visit: came, nothing known", outcomes: []Outcome{blank(2, codes.Vet, visitRoute)}, emergency: unk, sameDay: unk,
			route: visitRoute, source: codes.Vet, attended: yes},

		// A negative needs a vet within the window, or a contact at its end or later.
		{name: "owner reached before the end", outcomes: []Outcome{owner(71.9, 71.9, home, "sent_home")}, emergency: unk, sameDay: unk,
			route: codes.CallBack, source: codes.OwnerFollowUp, disposition: "sent_home", attended: unk, level: home},
		{name: "owner reached at the end", outcomes: []Outcome{owner(72, 72, home, "sent_home")}, emergency: no, sameDay: no,
			route: codes.CallBack, source: codes.OwnerFollowUp, disposition: "sent_home", attended: unk, level: home},
		{name: "owner reached later tells of a visit within", outcomes: []Outcome{owner(10, 80, sd, "treated_sent_home")}, emergency: no, sameDay: yes,
			route: codes.CallBack, source: codes.OwnerFollowUp, disposition: "treated_sent_home", attended: yes, level: sd},
		{name: "owner says that it is well", outcomes: []Outcome{owner(80, 80, noLevel, "")}, emergency: no, sameDay: no,
			route: codes.CallBack, source: codes.OwnerFollowUp, attended: unk},
		{name: "owner reached before the end tells of an operation", outcomes: []Outcome{owner(10, 20, noLevel, "operated")}, emergency: yes, sameDay: yes,
			route: codes.CallBack, source: codes.OwnerFollowUp, disposition: "operated", attended: yes},

		// The window.
		{name: "emergency at the last moment", outcomes: []Outcome{vet(72, em, "sent_home")}, emergency: yes, sameDay: yes,
			route: visitRoute, source: codes.Vet, disposition: "sent_home", attended: yes, level: em},
		{name: "late event is negative, not missing", outcomes: []Outcome{vet(72.001, em, "died")}, emergency: no, sameDay: no,
			route: visitRoute, source: codes.Vet, disposition: "died", attended: unk, died: true},
		{name: "dated by day only, before the call", outcomes: []Outcome{vet(-22, em, "admitted")}, emergency: yes, sameDay: yes,
			route: visitRoute, source: codes.Vet, disposition: "admitted", attended: yes, level: em},
		{name: "more than a day before the call", outcomes: []Outcome{vet(-25, em, "admitted")}, emergency: unk, sameDay: unk, attended: unk},
		{name: "worst within the window", outcomes: []Outcome{vet(2, home, "sent_home"), vet(40, em, "operated")}, emergency: yes, sameDay: yes,
			route: visitRoute, source: codes.Vet, disposition: "operated", attended: yes, level: em},

		// Vet over owner.
		{name: "vet's level stands", outcomes: []Outcome{vet(2, home, "sent_home"), owner(10, 80, em, "sent_home")}, emergency: no, sameDay: no,
			route: visitRoute, source: codes.Vet, disposition: "sent_home", attended: yes, level: home, conflicts: 2},
		{name: "vet saw it after what the owner tells", outcomes: []Outcome{vet(20, home, "sent_home"), owner(10, 80, noLevel, "operated")},
			emergency: no, sameDay: no, route: visitRoute, source: codes.Vet, disposition: "sent_home", attended: yes, level: home, conflicts: 2},
		{name: "it died at home after the vet saw it", outcomes: []Outcome{vet(2, home, "sent_home"), owner(50, 80, noLevel, "died")},
			emergency: yes, sameDay: yes, route: visitRoute, source: codes.Vet, disposition: "died", attended: yes, level: home, died: true},

		// Route: an animal that was brought was found.
		{name: "own decision before audit", outcomes: []Outcome{
			with(owner(90, 90, home, "sent_home"), func(o *Outcome) { o.Route, o.SelectionP = codes.Audit, 0.05 }),
			with(vet(30, sd, "admitted"), route(ownRoute))},
			emergency: no, sameDay: yes, route: ownRoute, source: codes.Vet, disposition: "admitted", attended: yes, level: sd, selected: true, answer: true},
		{name: "a visit without a finding comes before an audit that has one", outcomes: []Outcome{
			blank(30, codes.Vet, ownRoute), with(owner(90, 90, home, "sent_home"), route(codes.Audit))},
			emergency: no, sameDay: no, route: ownRoute, source: codes.Vet, disposition: "sent_home", attended: yes, level: home, selected: true, answer: true},
		{name: "audit without an answer selects, and verifies nothing", outcomes: []Outcome{
			with(owner(90, 90, noLevel, "lost"), func(o *Outcome) { o.Route, o.Responded = codes.Audit, no })},
			emergency: unk, sameDay: unk, disposition: "lost", attended: unk, selected: true},
		{name: "not reached by the word alone", outcomes: []Outcome{
			with(owner(90, 90, home, "sent_home"), func(o *Outcome) { o.Route, o.Responded = codes.Audit, no })},
			emergency: unk, sameDay: unk, attended: unk, selected: true},
		{name: "first call gives the route", outcomes: []Outcome{
			with(owner(100, 100, home, "sent_home"), route(codes.Audit)), owner(80, 80, home, "sent_home")},
			emergency: no, sameDay: no, route: codes.CallBack, source: codes.OwnerFollowUp, disposition: "sent_home", attended: unk, level: home,
			selected: true, answer: true},

		// Sent and did not go.
		{name: "no show", outcomes: []Outcome{with(vet(8, noLevel, "did_not_attend"), func(o *Outcome) { o.NoAttendReason, o.TimeCritical = "cost", unk })},
			emergency: unk, sameDay: unk, disposition: "did_not_attend", attended: no},
		{name: "came later after all", outcomes: []Outcome{vet(8, noLevel, "did_not_attend"), vet(20, home, "sent_home")},
			emergency: no, sameDay: no, route: visitRoute, source: codes.Vet, disposition: "sent_home", attended: yes, level: home},
		{name: "owner did not go and tells so after the window", outcomes: []Outcome{owner(80, 80, noLevel, "did_not_attend")},
			emergency: no, sameDay: no, route: codes.CallBack, source: codes.OwnerFollowUp, disposition: "did_not_attend", attended: no},

		// Panel.
		{name: "panel overrules the needs", outcomes: []Outcome{vet(2, home, "sent_home"), with(blank(900, codes.Panel, codes.Audit), func(o *Outcome) { o.VetLevel = em })},
			emergency: yes, sameDay: yes, route: visitRoute, source: codes.Panel, disposition: "sent_home", attended: yes, level: home, conflicts: 2, selected: true},
		{name: "panel decides what was open", outcomes: []Outcome{vet(2, noLevel, "sent_home"), with(blank(900, codes.Panel, codes.CallBack), func(o *Outcome) { o.VetLevel = sd })},
			emergency: no, sameDay: yes, route: visitRoute, source: codes.Panel, disposition: "sent_home", attended: yes},
	} {
		got := d.Eval(start, c.outcomes)
		if got.NeedEmergency != c.emergency || got.NeedSameDay != c.sameDay {
			t.Errorf("%s: needed emergency %v, same day %v; want %v, %v", c.name, got.NeedEmergency, got.NeedSameDay, c.emergency, c.sameDay)
		}
		type shown struct {
			Route                     codes.Route
			Source                    codes.Source
			Disposition               string
			Attended                  codes.Tri
			Level                     codes.Level
			Conflicts                 int16
			Died, Selected, Responded bool
			Outcomes                  int16
		}
		want := shown{c.route, c.source, c.disposition, c.attended, c.level, c.conflicts, c.died, c.selected, c.answer, int16(len(c.outcomes))}
		have := shown{got.Route, got.Source, got.Disposition, got.Attended, got.VetLevel, got.Conflicts, got.Died, got.AuditSelected, got.AuditResponded, got.Outcomes}
		if diff := cmp.Diff(want, have); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, diff)
		}
	}
}

const text = `case_definition: d_1
title: T
window_hours: 72
components:
  vet_level: {hours: 24}
  time_critical: {unrecorded: no}
  euthanasia: {reasons: [prognosis]}
  admitted: {}
emergency: [vet_level, time_critical, euthanasia]
same_day: [vet_level, time_critical, euthanasia, admitted]
`

func parse(t testing.TB, s string) *Definition {
	t.Helper()
	d, err := Parse("d.yaml", []byte(s))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestParse(t *testing.T) {
	d := parse(t, text)
	want := &Definition{File: "d.yaml", ID: "d_1", Title: "T", WindowHours: 72,
		Criteria: map[Component]Criterion{VetLevel: {Hours: 24}, TimeCritical: {Hours: 72, UnrecordedIsNo: true},
			Euthanasia: {Hours: 72, Reasons: []string{"prognosis"}}, Admitted: {Hours: 72}, Surgery: {Hours: 72}, Death: {Hours: 72}},
		Emergency: []Component{VetLevel, TimeCritical, Euthanasia}, SameDay: []Component{VetLevel, TimeCritical, Euthanasia, Admitted}}
	if diff := cmp.Diff(want, d); diff != "" {
		t.Error(diff)
	}
	if d.Hash() != parse(t, "# note\n"+text).Hash() || d.Hash() == parse(t, strings.Replace(text, "24", "25", 1)).Hash() {
		t.Error("the hash follows the content, not the layout")
	}
}

func TestWords(t *testing.T) {
	d := parse(t, text)
	want := "Needed care if, within 72 h of the first contact, the vet's own level was emergency (within 24 h); or it had treatment that could not wait; " +
		"or it was euthanised for prognosis (definition d_1)."
	if got := d.Words(codes.Emergency); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if got := demo(t).Words(codes.Emergency); !strings.Contains(got, "euthanised for prognosis, welfare, mixed or unknown (definition demo_prompt_care)") {
		t.Error(got)
	}
	if got := d.Words(codes.SameDay); !strings.Contains(got, "same_day or emergency") || !strings.Contains(got, "admitted") {
		t.Error(got)
	}
}

func TestHoursAndUnrecorded(t *testing.T) {
	d := parse(t, text)
	if got := d.Eval(start, []Outcome{vet(30, em, "sent_home")}); got.LevelEmergency != no || got.NeedEmergency != no {
		t.Errorf("a level after its hours does not count: %v %v", got.LevelEmergency, got.NeedEmergency)
	}
	open := with(vet(3, home, "sent_home"), func(o *Outcome) { o.TimeCritical = unk })
	if got := d.Eval(start, []Outcome{open}); got.TimeCritical != no || got.NeedEmergency != no {
		t.Errorf("unrecorded: no was not heard: %v %v", got.TimeCritical, got.NeedEmergency)
	}
	if got := d.Eval(start, []Outcome{with(owner(3, 3, home, "sent_home"), func(*Outcome) {})}); got.TimeCritical != unk {
		t.Errorf("unrecorded: no speaks of vets' rows only: %v", got.TimeCritical)
	}
	seen := parse(t, text+"owner_contact: seen_at\n")
	if got := seen.Eval(start, []Outcome{owner(10, 80, home, "sent_home")}); got.NeedSameDay != unk {
		t.Errorf("owner_contact: seen_at was not heard: %v", got.NeedSameDay)
	}
}

func TestParseProblems(t *testing.T) {
	for name, c := range map[string]struct{ from, to, want string }{
		"unknown key":         {"title: T", "titel: T", "did you mean title?"},
		"unknown component":   {"admitted: {}", "ward: {}", `d.yaml:8:3: components: expected one of the keys vet_level,`},
		"hours above window":  {"hours: 24", "hours: 73", "expected a whole number from 1 to 72"},
		"hours nan":           {"hours: 24", "hours: .nan", "expected a whole number from 1 to 72"},
		"window":              {"window_hours: 72", "window_hours: 0", "expected a whole number from 1 to 1440"},
		"window infinite":     {"window_hours: 72", "window_hours: .inf", "expected a whole number from 1 to 1440"},
		"reason":              {"[prognosis]", "[money]", "expected one of prognosis, welfare"},
		"no reasons":          {"{reasons: [prognosis]}", "{}", "expected the key reasons"},
		"reasons elsewhere":   {"hours: 24", "hours: 24, reasons: [cost]", "expected one of the keys hours, unrecorded"},
		"unrecorded":          {"unrecorded: no", "unrecorded: yes", "expected one of unknown, no"},
		"cut not described":   {"[vet_level, time_critical, euthanasia]", "[vet_level, surgery]", "expected components that stand under components"},
		"cut hostile":         {"[vet_level, time_critical, euthanasia]", "[\"x') OR 1 --\"]", "expected an identifier"},
		"same day misses one": {"euthanasia, admitted]", "admitted]", "expected every component of emergency, found no euthanasia"},
		"empty cut":           {"emergency: [vet_level, time_critical, euthanasia]", "emergency: []", "a list of at least one value"},
		"owner contact":       {"title: T", "title: T\nowner_contact: call", "expected one of later, seen_at"},
		"id":                  {"d_1", "D 1", "expected an identifier"},
	} {
		_, err := Parse("d.yaml", []byte(strings.Replace(text, c.from, c.to, 1)))
		var p *strict.Problem
		if !errors.As(err, &p) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant it to contain %s", name, err, c.want)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add(text)
	f.Add("case_definition: d\ntitle: T\nwindow_hours: 1\ncomponents: {death: {}}\nemergency: death\nsame_day: [death]")
	f.Add("components: {euthanasia: {reasons: [\"'\"]}}")
	f.Add("window_hours: 1e9")
	f.Fuzz(func(t *testing.T, s string) {
		d, err := Parse("f", []byte(s))
		if err != nil {
			return
		}
		if len(d.Emergency) == 0 || len(d.Criteria) != len(Components()) {
			t.Fatalf("accepted %+v", d)
		}
		if q := SQL(d); strings.Contains(q, "{") && strings.Contains(q, "{events}") {
			t.Fatal("a place in the query was not filled")
		}
		d.Eval(start, []Outcome{vet(1, em, "died"), owner(2, 80, home, "")})
	})
}
