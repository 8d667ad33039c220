package codes

import (
	"strings"
	"testing"
)

func TestLevels(t *testing.T) {
	// Order and numbers are the stored form: changing one corrupts every store.
	want := map[string]Level{"home_care": 1, "soon": 2, "same_day": 3, "emergency": 4}
	for _, w := range Levels.Words() {
		l, err := ParseLevel(w)
		if err != nil || l != want[w] || l.String() != w || !l.Valid() {
			t.Errorf("ParseLevel(%q) = %d, %v; want %d", w, l, err, want[w])
		}
		delete(want, w)
	}
	if len(want) != 0 {
		t.Errorf("words not in Levels: %v", want)
	}
	for _, w := range []string{"", "Emergency", "emergency ", strings.Repeat("x", 99)} {
		if l, err := ParseLevel(w); err == nil || l != NoLevel {
			t.Errorf("ParseLevel(%q) = %v, want an error", w, l)
		} else if len(err.Error()) > 160 {
			t.Errorf("message too long: %s", err)
		}
	}
	if NoLevel.AtLeast(HomeCare) || NoLevel.String() != "" || !Emergency.AtLeast(SameDay) || Soon.AtLeast(SameDay) {
		t.Error("NoLevel must reach nothing, emergency reaches same_day, soon does not")
	}
	if got := Level(9).String(); got != "level(9)" {
		t.Errorf("Level(9) = %q", got)
	}
}

func TestStoredNumbers(t *testing.T) {
	for i, w := range []string{"advised_visit", "own_decision", "call_back", "audit", "case_review"} {
		if r := ParseRoute(w); int(r) != i+1 || r.String() != w {
			t.Errorf("route %s = %d", w, r)
		}
	}
	for i, w := range []string{"vet", "owner_follow_up", "panel", "advisor"} {
		if s := ParseSource(w); int(s) != i+1 || s.String() != w {
			t.Errorf("source %s = %d", w, s)
		}
	}
	if ParseRoute("visit") != NoRoute || ParseSource("") != NoSource || NoRoute.String() != "" || Route(9).String() != "" {
		t.Error("an unknown word must be none")
	}
	for v, w := range map[Tri]string{Yes: "yes", No: "no", Unknown: "unknown"} {
		if v.String() != w {
			t.Errorf("%d = %q, want %q", v, v, w)
		}
	}
	if TriOf(true) != Yes || TriOf(false) != No {
		t.Error("TriOf")
	}
}

func TestNotAssessed(t *testing.T) {
	for _, c := range []struct {
		state, reason string
		want          int32
	}{
		{"not_asked", "", -1},
		{"not_asked", "skip_logic", -1},
		{"not_asked", "stopped_early", -4},
		{"not_possible", "resisted", -2},
		{"not_possible", "stopped_early", -2},
		{"declined", "unsafe", -3},
		{"", "", -1},
	} {
		if got := NotAssessed(c.state, c.reason); got != c.want {
			t.Errorf("NotAssessed(%q, %q) = %d, want %d", c.state, c.reason, got, c.want)
		}
		if NotAssessedNames[c.want] == "" {
			t.Errorf("no name for %d", c.want)
		}
	}
}

func TestValidID(t *testing.T) {
	for s, want := range map[string]bool{
		"gum_colour": true, "a": true, "2nd": true, strings.Repeat("a", 48): true,
		"": false, strings.Repeat("a", 49): false, "Gum": false, "a b": false,
		"a;drop": false, "a\"": false, "a'": false, "é": false, "a\x00": false, "a-b": false,
	} {
		if ValidID(s) != want {
			t.Errorf("ValidID(%q) = %v", s, !want)
		}
	}
}

func TestListsAreIDs(t *testing.T) {
	for _, l := range []List{Levels, ContactTypes, ContactKinds, Species, Sexes, Neutered, States, Reasons, Handling,
		Observers, Settings, AnimalStates, PersonHurt, Sources, Routes, Dispositions, EuthanasiaReasons, Independent, NoAttendReasons, FormalComplaints, Judged, ReviewReasons} {
		seen := map[string]bool{}
		for i, w := range l.Words() {
			if !ValidID(w) || seen[w] || l.Index(w) != i || !l.Has(w) {
				t.Errorf("%s: word %q is no identifier or stands twice", l.Name(), w)
			}
			seen[w] = true
		}
		l.Words()[0] = "changed"
		if l.Has("changed") {
			t.Errorf("%s: Words leaks the list", l.Name())
		}
	}
}
