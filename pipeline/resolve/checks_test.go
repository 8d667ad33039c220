package resolve

import (
	"strings"
	"testing"

	"hindcheck/pipeline/store"
)

const checksQuery = `SELECT word(call:w), finding, seq, state, coalesce(value_code, '-'), load_no FROM rows ORDER BY ALL`

func TestChecksOfACallAreReplacedTogether(t *testing.T) {
	l := line{t, t.TempDir()}
	calls := l.calls(call{id: "a", animal: "rex", at: "2026-02-01 09:00"}, call{id: "b", animal: "tom", at: "2026-02-01 10:00"})
	first := l.load("2026-02-05", map[string]string{"calls": calls, "checks": l.checks(
		"a gum_colour 1 done pink", "a pupils 2 done equal", "b gum_colour 1 declined",
		"b gum_colour 1 declined",  // the same row twice
		"d gum_colour 1 done pink", // no such call
	)})
	if s := first.Sums[1]; s.New != 3 || s.Within != 1 || s.SetAside != 1 || s.Rows != 5 {
		t.Errorf("account of load 1: %+v; want 3 new, 1 within, 1 set aside of 5", *s)
	}
	if first.Aside["orphan_check"] != 1 {
		t.Errorf("set aside: %v; want one orphan check", first.Aside)
	}
	second := l.load("2026-03-05", map[string]string{"checks": l.checks(
		"a gum_colour 1 done white", // corrected, and the pupils were struck out
		"b gum_colour 1 declined",
	)})
	if s := second.Sums[0]; s.Superseding != 1 || s.Unchanged != 1 {
		t.Errorf("account of load 2: %+v; want 1 superseding, 1 unchanged", *s)
	}
	l.want("present", l.read(store.Current, "checks", checksQuery), "a gum_colour 1 done white 2", "b gum_colour 1 declined - 1")
	l.want("history", l.read(store.History, "checks", `SELECT word(call:w), finding, value_code, load_no, superseded_by FROM rows ORDER BY ALL`),
		"a gum_colour pink 1 2", "a pupils equal 1 2")
	third := l.load("2026-02-10", map[string]string{"checks": l.checks("a gum_colour 1 done blue", "b gum_colour 1 done blue")})
	if s := third.Sums[0]; s.Older != 2 {
		t.Errorf("account of load 3: %+v; want 2 older (load 2 confirmed b on 5 March)", *s)
	}
}

// The vet's readings come with the outcomes, under another date of export.
func TestVetReadingsStandBesideTheOwners(t *testing.T) {
	l := line{t, t.TempDir()}
	l.load("2026-02-05", map[string]string{
		"calls":  l.calls(call{id: "a", animal: "rex", at: "2026-02-01 09:00"}),
		"checks": l.checks("a gum_colour 1 done pink")})
	l.load("2026-02-06", map[string]string{"checks": l.checks("a gum_colour 1 done white vet")})
	l.load("2026-02-07", map[string]string{"checks": l.checks("a gum_colour 1 done pink")})
	l.want("present", l.read(store.Current, "checks", `SELECT word(call:w), value_code, observer, load_no FROM rows ORDER BY ALL`),
		"a pink - 1", "a white vet 2")
}

// The time of export may be a column, so that one file holds two exports of a
// call: the later one wins, and what it no longer lists is gone.
func TestTwoExportsOfACallInOneFile(t *testing.T) {
	l := line{t, t.TempDir()}
	later := strings.ReplaceAll(l.checks("a gum_colour 1 done white"), "$STAMP", "TIMESTAMPTZ '2026-02-06' AS exported_at")
	later = strings.ReplaceAll(later, "2::BIGINT AS src_row", "9::BIGINT AS src_row")
	res := l.load("2026-02-05", map[string]string{
		"calls":  l.calls(call{id: "a", animal: "rex", at: "2026-02-01 09:00"}),
		"checks": later + " UNION ALL " + l.checks("a gum_colour 1 done pink", "a pupils 2 done equal")})
	if s := res.Sums[1]; s.New != 1 || s.Within != 2 {
		t.Errorf("account: %+v; want 1 new, 2 within", *s)
	}
	l.want("present", l.read(store.Current, "checks", checksQuery), "a gum_colour 1 done white 1")
}
