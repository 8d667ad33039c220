package rules

import (
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/pipeline/findings"
)

// TestProposeDemo moves one threshold of the demonstration rules: but for it and
// the drafts, every line is the one that was there.
func TestProposeDemo(t *testing.T) {
	text, err := os.ReadFile(demoFile)
	if err != nil {
		t.Fatal(err)
	}
	s := demo(t)
	at := flagIndex(t, s, "fast_breathing_cat")
	got, err := Propose("x.yaml", text, "demo_cats_2", []Move{{Flag: at, Lower: true, At: "42"}}, findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	was, is := strings.Split(string(text), "\n"), strings.Split(string(got), "\n")
	var gone, come []string
	for _, l := range was {
		if !strings.Contains(string(got), l) {
			gone = append(gone, l)
		}
	}
	for _, l := range is {
		if !strings.Contains(string(text), l) {
			come = append(come, l)
		}
	}
	want := []string{"ruleset: demo_cats_2", "owner: TO BE FILLED IN (who proposes this)", "reason: TO BE FILLED IN (why the thresholds should move)",
		"status: TO BE FILLED IN (who approved it, for what use)", "      - {finding: breathing_rate, at_least: 42}"}
	if diff := cmp.Diff(want, come); diff != "" || len(gone) != 7 { // status took three lines
		t.Errorf("new lines (-want +got):\n%s\ngone: %q", diff, gone)
	}
	var wrong int
	for _, n := range Check(parse(t, string(got)), findings.Default()) {
		if n.Kind == NotFilledIn {
			wrong++
		}
	}
	if wrong != 3 {
		t.Errorf("%d drafts are refused, want 3", wrong)
	}
}

func TestProposeLayouts(t *testing.T) {
	d := findings.Default()
	for name, c := range map[string]struct {
		text string
		move Move
		want string
	}{
		"above becomes at_least": {when("{finding: temperature_c, above: 40.5}"), Move{Lower: true, At: "40.2"}, "{finding: temperature_c, at_least: 40.2}"},
		"below becomes at_most":  {when("{finding: temperature_c, below: 37}"), Move{At: "36.6"}, "{finding: temperature_c, at_most: 36.6}"},
		"one end of two":         {when("{finding: temperature_c, at_least: 37, at_most: 38}"), Move{At: "38.5"}, "{finding: temperature_c, at_least: 37, at_most: 38.5}"},
		"block, with a remark": {when("finding: temperature_c # rectal\n        at_least: 40.5   # owners' thermometers"), Move{Lower: true, At: "40.25"},
			"at_least: 40.25   # owners' thermometers"},
		"letters of several bytes before it": {when("{finding: temperature_c, at_least: 40.5} # ä → b"), Move{Lower: true, At: "41"}, "at_least: 41} # ä → b"},
		"a byte order mark":                  {"\ufeff" + when("{finding: temperature_c, at_least: 40.5}"), Move{Lower: true, At: "41"}, "at_least: 41}"},
		"Windows line ends":                  {strings.ReplaceAll(when("{finding: temperature_c, at_least: 40.5}"), "\n", "\r\n"), Move{Lower: true, At: "41"}, "at_least: 41}\r\n"},
	} {
		got, err := Propose("x.yaml", []byte(c.text), "r_2", []Move{c.move}, d)
		if err != nil || !strings.Contains(string(got), c.want) || strings.HasPrefix(c.text, "\ufeff") != strings.HasPrefix(string(got), "\ufeff") {
			t.Errorf("%s: %v\n%s", name, err, got)
		}
	}
	for name, c := range map[string]struct {
		text string
		move Move
	}{
		"no such end":   {when("{finding: temperature_c, above: 40.5}"), Move{At: "36"}},
		"no such flag":  {head + flagA, Move{Flag: 3, Lower: true, At: "36"}},
		"all in braces": {`{ruleset: a, title: T, owner: O, reason: R, effective: 2026-01-01, status: S, otherwise: soon, flags: [{id: a, title: T, why: W, demands: emergency, when_unknown: leave, all: [{finding: breathing_rate, above: 4}]}]}`, Move{Lower: true, At: "36"}},
		"codes":         {when("{finding: lump, is: [warm]}"), Move{Lower: true, At: "36"}},
		"not a number":  {head + flagA, Move{Lower: true, At: "36}\n  - {id: evil"}},
	} {
		if got, err := Propose("x.yaml", []byte(c.text), "r_2", []Move{c.move}, d); err == nil {
			t.Errorf("%s: no error\n%s", name, got)
		}
	}
}

func TestLimitsOf(t *testing.T) {
	p := compiled(t, demo(t))
	var got []string
	for _, l := range p.Limits("temperature_c") {
		got = append(got, p.flags[l.Flag].ID)
		if !l.Alone || l.HasLow == l.HasHigh || l.HasLow && (l.Low != 406 || l.High != Unlimited) {
			t.Errorf("%+v", l)
		}
	}
	if len(got) != 5 || len(p.Limits("gum_colour"))+len(p.Limits("nothing")) != 0 {
		t.Errorf("limits of temperature: %v", got)
	}
}
