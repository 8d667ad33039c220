package resolve

import (
	"testing"

	"hindcheck/pipeline/store"
)

// The window of these tests is 72 hours.
func TestEpisodes(t *testing.T) {
	l := line{t, t.TempDir()}
	l.load("2026-02-05", map[string]string{"calls": l.calls(
		call{id: "a", animal: "rex", at: "2026-01-31 22:30", complaint: "vomiting", level: "home_care"},
		call{id: "b", animal: "rex", at: "2026-02-01 09:00", complaint: "vomiting", level: "same_day"},
		call{id: "c", animal: "rex", at: "2026-02-01 10:00", complaint: "limping", level: "soon"},
		call{id: "d", animal: "rex", at: "2026-02-03 22:31", complaint: "vomiting", level: "soon"},
		call{id: "e", animal: "rex", at: "2026-02-01 11:00", typ: "test"},
	)})
	l.want("episodes", l.read(store.Current, "calls", episodesQuery),
		"a a first 202601 home_care 1",
		"b a re_contact 202601 same_day 1", // the month of the first contact, not its own
		"c c first 202602 soon 1",          // another complaint
		"d d first 202602 soon 1",          // 72 h and a minute after the first
		"e - - 202602 - 1",                 // not clinical: no episode
	)
}

func TestLaterExportWins(t *testing.T) {
	l := line{t, t.TempDir()}
	first := l.load("2026-02-05", map[string]string{"calls": l.calls(
		call{id: "a", animal: "rex", at: "2026-02-01 09:00", level: "soon"},
		call{id: "b", animal: "tom", at: "2026-02-01 10:00", level: "soon"},
		call{id: "b", animal: "tom", at: "2026-02-01 10:00", level: "same_day"}, // twice within the export: the later row
	)})
	l.want("after load 1", l.read(store.Current, "calls", episodesQuery), "a a first 202602 soon 1", "b b first 202602 same_day 1")
	if s := first.Sums[0]; s.New != 2 || s.Within != 1 {
		t.Errorf("account of load 1: %+v; want 2 new, 1 superseded within", *s)
	}
	second := l.load("2026-03-05", map[string]string{"calls": l.calls(
		call{id: "a", animal: "rex", at: "2026-02-01 09:00", level: "emergency"},
		call{id: "b", animal: "tom", at: "2026-02-01 10:00", level: "same_day"},
		call{id: "c", animal: "kit", at: "2026-02-02 10:00", level: "soon"},
	)})
	if s := second.Sums[0]; s.New != 1 || s.Superseding != 1 || s.Unchanged != 1 {
		t.Errorf("account of load 2: %+v; want 1 new, 1 superseding, 1 unchanged", *s)
	}
	after := []string{"a a first 202602 emergency 2", "b b first 202602 same_day 1", "c c first 202602 soon 2"}
	l.want("after load 2", l.read(store.Current, "calls", episodesQuery), after...)
	l.want("history", l.read(store.History, "calls", `SELECT word(call:w), level, load_no, superseded_by FROM rows`), "a soon 1 2")
	third := l.load("2026-02-20", map[string]string{"calls": l.calls( // an old backlog file
		call{id: "a", animal: "rex", at: "2026-02-01 09:00", level: "home_care"},
		call{id: "b", animal: "tom", at: "2026-02-01 10:00", level: "home_care"}, // load 2 confirmed it on 5 March
	)})
	if s := third.Sums[0]; s.Older != 2 {
		t.Errorf("account of load 3: %+v; want 2 older than stored", *s)
	}
	l.want("after load 3", l.read(store.Current, "calls", episodesQuery), after...)
}

// A call that arrives late and began earlier becomes the first of the episode,
// and what was the first moves to its month.
func TestLateFirstContact(t *testing.T) {
	l := line{t, t.TempDir()}
	l.load("2026-02-05", map[string]string{
		"calls":    l.calls(call{id: "b", animal: "rex", at: "2026-02-01 09:00", level: "same_day"}),
		"checks":   l.checks("b gum_colour 1 done pink"),
		"outcomes": l.outcomes([5]string{"o1", "b", "rex", "2026-02-01 12:00", "same_day"}),
	})
	l.load("2026-02-06", map[string]string{"calls": l.calls(call{id: "a", animal: "rex", at: "2026-01-31 09:00", level: "home_care"})})
	l.want("episodes", l.read(store.Current, "calls", episodesQuery),
		"a a first 202601 home_care 2", "b a re_contact 202601 same_day 2")
	l.want("history", l.read(store.History, "calls", `SELECT word(call:w), contact_kind, episode_month, load_no, superseded_by FROM rows`),
		"b first 202602 1 2")
	l.want("outcomes", l.read(store.Current, "outcomes", `SELECT word(outcome:w), word(episode:w), episode_month, load_no FROM rows`),
		"o1 a 202601 2")
	l.want("checks", l.read(store.Current, "checks", `SELECT word(call:w), finding, value_code, load_no FROM rows`), "b gum_colour pink 1")
	s, err := store.Open(l.dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, f := range s.Manifest.Select(store.Current, "checks") {
		if f.Month != 202601 {
			t.Errorf("checks lie in month %d; want 202601, the episode's", f.Month)
		}
	}
}

func TestTransferIsOneContact(t *testing.T) {
	l := line{t, t.TempDir()}
	l.load("2026-02-05", map[string]string{"calls": l.calls(
		call{id: "a", contact: "k", animal: "rex", at: "2026-02-01 09:00", complaint: "vomiting"},
		call{id: "b", contact: "k", animal: "rex", at: "2026-02-01 09:04", complaint: "bloat", level: "emergency"},
		call{id: "c", contact: "k", animal: "tom", at: "2026-02-01 09:04", complaint: "bloat", level: "soon"},
	)})
	l.want("episodes", l.read(store.Current, "calls", episodesQuery),
		"a a first 202602 - 1", "b a first 202602 emergency 1", "c c first 202602 soon 1")
}
