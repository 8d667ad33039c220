package colic

import (
	"io/fs"
	"testing"
	"time"

	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/strata"
)

func text(t *testing.T, name string) []byte {
	t.Helper()
	data, err := fs.ReadFile(Files(), name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// The product reads every settings file of the folder.
func TestSettingsAreRead(t *testing.T) {
	dict, err := findings.Default().Extend("dictionary.yaml", text(t, "dictionary.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	set, err := rules.Parse("rules.yaml", text(t, "rules.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := rules.Compile(set, dict); err != nil {
		t.Error(err)
	}
	if _, err := strata.Parse("strata.yaml", text(t, "strata.yaml")); err != nil {
		t.Error(err)
	}
}

// The definitions judge each horse as the file says, and leave the one horse
// without an outcome unverified.
func TestDefinitionsJudgeTheHorses(t *testing.T) {
	start := time.Date(2000, 1, 2, 0, 0, 0, 0, time.UTC)
	disposition := map[string]string{"1": "sent_home", "2": "died", "3": "euthanised"}
	for _, c := range []struct {
		file             string
		yes, no, unknown int
	}{
		// Counted in the published file: 178 lived, 77 died, 44 were put down, one is missing.
		{"death.yaml", 121, 178, 1},
		{"surgical_lesion.yaml", 191, 109, 0},
	} {
		def, err := casedef.Parse(c.file, text(t, c.file))
		if err != nil {
			t.Fatal(err)
		}
		got := map[codes.Tri]int{}
		for _, h := range horses(t) {
			o := casedef.Outcome{Source: codes.Vet, Route: codes.AdvisedVisit, SeenAt: start, Disposition: disposition[h["outcome"]],
				EuthanasiaReason: "unknown", TimeCritical: codes.No, Responded: codes.Unknown}
			if h["surgical_lesion"] == "1" {
				o.TimeCritical = codes.Yes
			}
			r := def.Eval(start, []casedef.Outcome{o})
			if r.NeedEmergency != r.NeedSameDay {
				t.Errorf("%s: horse %s differs between the cuts", c.file, h["row"])
			}
			got[r.NeedSameDay]++
		}
		if got[codes.Yes] != c.yes || got[codes.No] != c.no || got[codes.Unknown] != c.unknown {
			t.Errorf("%s: %v, want %d yes, %d no, %d unknown", c.file, got, c.yes, c.no, c.unknown)
		}
	}
}
