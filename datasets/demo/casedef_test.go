package demo

import (
	"context"
	"testing"
	"time"

	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/codes"
)

// Words of the stored codes, by position of this package's own.
var (
	storedResult = [...]string{"", "sent_home", "treated_sent_home", "admitted", "operated", "referred", "died", "euthanised",
		"dead_on_arrival", "did_not_attend", "lost"}
	storedWhy = [...]string{"", "prognosis", "welfare", "cost", "mixed", "planned", "behaviour", "unknown"}
)

// stored is an outcome as the store holds it.
func stored(o *outcome) casedef.Outcome {
	s := casedef.Outcome{Source: codes.Vet, Route: codes.Route(o.route), SeenAt: time.Unix(o.seen, 0), RecordedAt: time.Unix(o.noted, 0),
		Practice: FeedIDs[o.feed], EuthanasiaReason: storedWhy[o.why], SelectionP: o.p}
	if o.feed == feedLine {
		s.Source = codes.OwnerFollowUp
	}
	if !o.blank {
		s.VetLevel, s.Disposition = codes.Level(o.level), storedResult[o.result]
	}
	tri := func(yes bool) codes.Tri {
		if yes {
			return codes.Yes
		}
		return codes.No
	}
	s.TimeCritical, s.Responded = codes.Unknown, codes.Unknown
	if !o.blank && o.result != didNotAttend && o.result != lost {
		s.TimeCritical = tri(o.critical)
	}
	if o.reached != 0 {
		s.Responded = tri(o.reached == 1)
	}
	return s
}

// The line's case definition finds the truth of verified episodes but for a
// stated residual, and Episode says the same of them.
func TestCaseDefinitionFindsTheTruth(t *testing.T) {
	def, err := casedef.Load("case_definition.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, world := range []World{WorldIgnorable, WorldSelfPresenting} {
		o, err := Options{Seed: 21, Calls: 120000, World: world}.withDefaults()
		if err != nil {
			t.Fatal(err)
		}
		var pub Episode
		var verified, needed, wrong, verifiedE, wrongE, differs, conflicts, n float64
		if err := eachUnit(context.Background(), o, func(m *model, u *unit) error {
			for k := range u.n {
				e := &u.eps[k]
				var rows []casedef.Outcome
				for i := range e.outcomes[:e.no] {
					if m.arrives(&e.outcomes[i]) >= 0 {
						rows = append(rows, stored(&e.outcomes[i]))
					}
				}
				m.publish(u, e, &pub)
				n++
				if len(rows) == 0 {
					if pub.Verified {
						differs++
					}
					continue
				}
				r := def.Eval(time.Unix(e.start, 0), rows)
				if r.NeedSameDay != codes.Unknown {
					verified++
					found := r.NeedSameDay == codes.Yes
					if found {
						needed++
					}
					if found != pub.NeedSameDay {
						wrong++
					}
					if conflicts += float64(r.Conflicts); !pub.Verified || found != pub.FoundSameDay || r.Route != codes.Route(pub.Route) {
						differs++
					}
				} else if pub.Verified {
					differs++
				}
				if r.NeedEmergency != codes.Unknown {
					verifiedE++
					if (r.NeedEmergency == codes.Yes) != pub.NeedEmergency {
						wrongE++
					}
				}
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		t.Logf("world %d: verified %.4f and %.4f of %v episodes, contradicting the truth %.5f at same_day, %.5f at emergency; %.5f differ from Episode",
			world, verified/n, verifiedE/n, n, wrong/verified, wrongE/verifiedE, differs/n)
		if wrong/verified > 0.003 || wrongE/verifiedE > 0.003 || wrong == 0 {
			t.Errorf("world %d: %.5f and %.5f of verified episodes contradict the truth, want some, at most 0.003", world, wrong/verified, wrongE/verifiedE)
		}
		if verified < 0.25*n || needed < 0.2*verified {
			t.Errorf("world %d: %.3f verified, %.3f of them in need: too few to judge", world, verified/n, needed/verified)
		}
		if conflicts == 0 {
			t.Errorf("world %d: no owner contradicts a vet", world)
		}
		if differs/n > 0.0005 {
			t.Errorf("world %d: Episode and case definition differ in %.5f of episodes", world, differs/n)
		}
	}
}
