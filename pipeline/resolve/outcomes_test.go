package resolve

import (
	"testing"

	"hindcheck/pipeline/store"
)

const linksQuery = `SELECT word(outcome:w), word(episode:w), linked_by, load_no FROM rows ORDER BY 1`

func TestLinks(t *testing.T) {
	l := line{t, t.TempDir()}
	res := l.load("2026-02-20", map[string]string{
		"calls": l.calls(
			call{id: "a", animal: "rex", at: "2026-02-01 09:00", complaint: "vomiting"},
			call{id: "b", animal: "tom", at: "2026-02-01 09:00", complaint: "vomiting"},
			call{id: "c", animal: "tom", at: "2026-02-01 19:00", complaint: "limping"},
			call{id: "d", animal: "kit", at: "2026-02-01 19:00", typ: "test"}),
		"outcomes": l.outcomes(
			[5]string{"o1", "", "rex", "2026-02-02 09:00", "soon"},  // one episode of the animal: linked
			[5]string{"o2", "", "tom", "2026-02-02 09:00", "soon"},  // two: ambiguous
			[5]string{"o3", "", "rex", "2026-02-19 09:00", "soon"},  // too long after: unlinked
			[5]string{"o4", "a", "tom", "2026-02-02 09:00", "soon"}, // the call is another animal's
			[5]string{"o5", "a", "rex", "2026-01-30 09:00", "soon"}, // seen before the call
		)})
	l.want("links", l.read(store.Current, "outcomes", linksQuery), "o1 a animal 1", "o3 - unlinked 1")
	if s := res.Sums[1]; s.New != 2 || s.SetAside != 3 || s.Rows != 5 {
		t.Errorf("account: %+v; want 2 new, 3 set aside of 5", *s)
	}
	for reason, want := range map[string]int64{"ambiguous_link": 1, "contradictory_link": 1, "outcome_before_call": 1} {
		if res.Aside[reason] != want {
			t.Errorf("%s: %d set aside; want %d", reason, res.Aside[reason], want)
		}
	}
}

// An outcome that came before its call is linked when the call arrives.
func TestLateLink(t *testing.T) {
	l := line{t, t.TempDir()}
	l.load("2026-02-20", map[string]string{"outcomes": l.outcomes([5]string{"o1", "", "rex", "2026-02-02 09:00", "soon"})})
	l.want("before", l.read(store.Current, "outcomes", linksQuery), "o1 - unlinked 1")
	l.load("2026-02-21", map[string]string{"calls": l.calls(call{id: "a", animal: "rex", at: "2026-02-01 09:00"})})
	l.want("after", l.read(store.Current, "outcomes", linksQuery), "o1 a animal 2")
	l.want("history", l.read(store.History, "outcomes", `SELECT word(outcome:w), word(episode:w), load_no, superseded_by FROM rows`), "o1 - 1 2")
}
