package queries_test

import (
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

func itoa(n int8) string { return strconv.Itoa(int(n)) }

func TestFlagCounts(t *testing.T) {
	d, _ := line(t)
	got, err := d.FlagCounts(ctx, scope, 3)
	if err != nil {
		t.Fatal(err)
	}
	var first []queries.FlagCountsRow
	var total int64
	for _, r := range got {
		total += r.Present + r.Absent + r.Unknown
		if r.Flag == 1 && r.Mature {
			first = append(first, r)
		}
	}
	if total != 3*13 {
		t.Errorf("%d episodes over three flags, want 39: every one is present, absent or unknown", total)
	}
	// pale_gums, mature: flag level need route mature stratum present absent unknown
	same(t, first, nil, `
		1 0 -1 0 true [ ] 0 0 1           // 13
		1 1 -1 0 true [north dog] 0 0 2   // 8, 14
		1 1 0 3 true [south cat] 0 1 0    // 6
		1 1 1 2 true [south dog] 0 1 0    // 5
		1 2 1 4 true [south dog] 0 0 1    // 7
		1 3 -1 0 true [north dog] 0 1 0   // 4
		1 3 0 1 true [north cat] 0 1 0    // 3
		1 4 1 1 true [north dog] 1 1 1    // 2 fired, 1 ruled out, 9 stopped early
	`)
	none, err := nobody(t).FlagCounts(ctx, scope, 3)
	same(t, none, err, "")
}

func TestFlagTables(t *testing.T) {
	d, _ := line(t)
	got, err := d.FlagTables(ctx, scope, 3)
	var second []queries.FlagTablesRow
	for _, r := range got {
		if r.Flag == 1 {
			second = append(second, r)
		}
	}
	// pale_gums: flag month species mature, tp fp fn tn, unknown by need, unverified present absent unknown
	same(t, second, err, `
		1 202606 true      0 0 0 0  0 0  0 0 1   // 13, of no recorded species
		1 202606 cat true  0 0 0 2  0 0  0 0 0   // 3 and 6
		1 202606 dog true  1 0 2 0  2 0  0 1 2   // 2; 1 and 5; unknown 7 and 9; unverified 4, and 8 and 14
		1 202607 dog false 0 0 0 1  0 0  0 1 0   // 11; unverified 10
	`)
	emergency, err := d.FlagTables(ctx, scope, 4)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range emergency {
		if r.Flag == 1 && r.Month == 202606 && r.Species == "dog" && (r.UnknownNeeded != 1 || r.UnknownNotNeeded != 1 || r.FN != 2) {
			t.Errorf("row %d: %+v; want 7 not in need of an emergency visit", i, r)
		}
	}
	none, err := nobody(t).FlagTables(ctx, scope, 3)
	same(t, none, err, "")
}

// Sums of two flags at a time hold however many flags there are: counted again
// bit by bit in Go, at the edges of lanes and words.
func TestFlagSums(t *testing.T) {
	for _, n := range []int{1, 2, 3, 48, 61, 62, 63, 64, 65, 70, 126, 127, 130} {
		var many queries.Meta
		for i := range n {
			many.Flags = append(many.Flags, queries.Flag{ID: fmt.Sprintf("flag_%d", i)})
		}
		d, db := queriestest.Open(t, many)
		rng := rand.New(rand.NewPCG(1, uint64(n)))
		want := make([][2]int64, n)
		for k := range 20 {
			letters := make([]byte, n)
			for i := range letters {
				letters[i] = "+-?"[rng.IntN(3)]
				switch letters[i] {
				case '+':
					want[i][0]++
				case '?':
					want[i][1]++
				}
			}
			queriestest.Case(t, db, many, row{"n": k, "started_at": day(6, 1), "need_same_day": 1, "animal": queriestest.ID(500), "flags": string(letters)})
		}
		got, err := d.FlagClusters(ctx, scope, 3, "animal")
		if err != nil || len(got) != n {
			t.Fatalf("%d flags: %d rows, %v", n, len(got), err)
		}
		for i, r := range got {
			if r.Flag != i || r.Present != want[i][0] || r.Episodes != 20-want[i][1] {
				t.Errorf("%d flags: %+v; want %d fired, %d unknown of 20", n, r, want[i][0], want[i][1])
			}
		}
	}
}

func TestFlagEscalation(t *testing.T) {
	d, _ := line(t)
	got, err := d.FlagEscalation(ctx, scope)
	if err != nil {
		t.Fatal(err)
	}
	var first []queries.FlagEscalationRow
	for _, r := range got {
		if r.Flag == 0 {
			first = append(first, r)
		}
	}
	// hard_breathing: flag level alone with_others absent unknown
	same(t, first, nil, `
		0 0 0 0 0 1   // 13
		0 1 1 0 3 1   // 5 fired and was lowered; 6, 10, 14 ruled out; 8 unknown
		0 2 0 0 1 0   // 7
		0 3 0 0 3 0   // 3, 4, 11
		0 4 2 1 0 0   // 1, 9 alone, 2 with pale gums
	`)
	none, err := nobody(t).FlagEscalation(ctx, scope)
	same(t, none, err, "")
}

func TestFlagNotAssessed(t *testing.T) {
	d, _ := line(t)
	got, err := d.FlagNotAssessed(ctx, scope)
	// flag state level need_emergency need_same_day mature n
	same(t, got, err, `
		0 not_asked 0 -1 -1 true 1       // 13
		0 not_asked 1 -1 -1 true 1       // 8
		1 declined 1 -1 -1 true 1        // 8
		1 not_asked 0 -1 -1 true 1       // 13
		1 not_possible 2 0 1 true 1      // 7
		1 stopped_early 4 1 1 true 1     // 9
		1 unreadable 1 -1 -1 true 1      // 14
		2 not_asked 0 -1 -1 true 1       // 13
		2 not_asked 3 0 0 false 1        // 11
	`)
	none, err := nobody(t).FlagNotAssessed(ctx, scope)
	same(t, none, err, "")
}

// A flag on a property of the animal can be unknown although every finding
// that it reads was assessed.
// States worked out by bits, for many flags at a time, are those worked out
// episode by episode.
func TestFlagNotAssessedByEpisode(t *testing.T) {
	year := queriestest.Year(t, 3000, 0.2)
	s := queries.Scope{From: 202507, To: 202609, MatureBefore: day(8, 18)}
	rows, err := year.FlagNotAssessed(ctx, s)
	if err != nil || len(rows) == 0 {
		t.Fatal(len(rows), err)
	}
	got, want := map[string]int64{}, map[string]int64{}
	for _, r := range rows {
		got[fmt.Sprint(r.Flag, r.State, r.Level, r.NeedEmergency, r.NeedSameDay)] += r.N
	}
	for flag, state := range year.FlagColumns() {
		plain, err := year.SQL().Query("SELECT s, level, need_emergency, need_same_day FROM (SELECT *, " + state + " AS s FROM cases) WHERE month BETWEEN 202507 AND 202609 AND s NOT IN ('present', 'absent')")
		if err != nil {
			t.Fatal(err)
		}
		for plain.Next() {
			var s string
			var level, emergency, sameDay int8
			if err := plain.Scan(&s, &level, &emergency, &sameDay); err != nil {
				t.Fatal(err)
			}
			want[fmt.Sprint(flag, s, level, emergency, sameDay)]++
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("states by bits (-by episode +by bits):\n%s", diff)
	}
}

func TestFlagNotAssessedAnimal(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	queriestest.Case(t, db, meta, row{"n": 1, "started_at": day(6, 1), "flags": "--?", "f_capillary_refill_s": 30})
	got, err := d.FlagNotAssessed(ctx, scope)
	same(t, got, err, "2 animal_not_described 1 -1 -1 true 1")
}

func TestFlagClusters(t *testing.T) {
	d, _ := line(t)
	got, err := d.FlagClusters(ctx, scope, 3, "animal")
	// flag need episodes present clusters
	same(t, got, err, `
		0 0 1 0 1   // 3
		0 1 1 1 2   // 5 and 9
		0 1 2 2 1   // 1 and 2 are one animal
		1 0 1 0 1   // 3
		1 1 1 0 1   // 5; gums of 9 were not assessed
		1 1 2 1 1   // 1 and 2
		2 0 1 1 1   // 3
		2 1 1 0 2   // 5 and 9
		2 1 2 0 1   // 1 and 2
	`)
	none, err := nobody(t).FlagClusters(ctx, scope, 3, "animal")
	same(t, none, err, "")
}

// A second opinion, row by row in Go, on a line where some animals come back.
func TestFlagClustersRowByRow(t *testing.T) {
	d, db := queriestest.YearTables(t, 3000, 0.3)
	scope := queries.Scope{From: 202507, To: 202609, MatureBefore: day(8, 1)}
	rows, err := db.Query(`SELECT animal::VARCHAR, need_same_day, fired_0, unknown_0 FROM cases
		WHERE started_at < ? AND need_same_day >= 0`, scope.MatureBefore)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	type key struct {
		animal string
		need   int8
	}
	type total struct{ episodes, present [64]int64 }
	totals := map[key]*total{}
	for rows.Next() {
		var k key
		var fired, unknown uint64
		if err := rows.Scan(&k.animal, &k.need, &fired, &unknown); err != nil {
			t.Fatal(err)
		}
		if totals[k] == nil {
			totals[k] = new(total)
		}
		for i := range d.Meta().Flags {
			if unknown>>i&1 == 0 {
				totals[k].episodes[i]++
			}
			totals[k].present[i] += int64(fired >> i & 1)
		}
	}
	want := map[queries.FlagClustersRow]int64{}
	most := int64(0)
	for k, x := range totals {
		for i := range d.Meta().Flags {
			if x.episodes[i] > 0 {
				want[queries.FlagClustersRow{Flag: i, Need: k.need, Episodes: x.episodes[i], Present: x.present[i]}]++
				most = max(most, x.episodes[i])
			}
		}
	}
	if most < 2 {
		t.Fatal("no animal came back; the test would not see its sums")
	}
	got, err := d.FlagClusters(ctx, scope, 3, "animal")
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range got {
		n := r.Clusters
		r.Clusters = 0
		if want[r] != n {
			t.Errorf("%+v: %d clusters, want %d", r, n, want[r])
		}
		delete(want, r)
	}
	if len(want) > 0 {
		t.Errorf("%d patterns are missing", len(want))
	}
}

// The 70th flag lives in the second word of bits.
func TestManyFlags(t *testing.T) {
	many := queries.Meta{Findings: meta.Findings}
	for i := range 70 {
		many.Flags = append(many.Flags, queries.Flag{ID: fmt.Sprintf("flag_%d", i), Findings: []string{"gum_colour"}})
	}
	d, db := queriestest.Open(t, many)
	queriestest.Case(t, db, many, row{"n": 1, "started_at": day(6, 1), "level": 4, "flags": "+" + strings.Repeat("-", 67) + "?+"})
	got, err := d.FlagEscalation(ctx, scope)
	if err != nil || len(got) != 70 {
		t.Fatalf("%d rows, %v", len(got), err)
	}
	for i, r := range got {
		want := queries.FlagEscalationRow{Flag: i, Level: 4, Absent: 1}
		switch i {
		case 0, 69:
			want.WithOthers, want.Absent = 1, 0
		case 68:
			want.Unknown, want.Absent = 1, 0
		}
		if r != want {
			t.Errorf("got %+v, want %+v", r, want)
		}
	}
}

// A line without rules has no flags; its questions give no rows and no error.
func TestNoFlags(t *testing.T) {
	bare := queries.Meta{}
	d, db := queriestest.Open(t, bare)
	queriestest.Case(t, db, bare, row{"n": 1, "started_at": day(6, 1), "level": 4})
	if got, err := d.FlagCounts(ctx, scope, 3); err != nil || len(got) != 0 {
		t.Errorf("counts: %v, %v", got, err)
	}
	if got, err := d.FlagEscalation(ctx, scope); err != nil || len(got) != 0 {
		t.Errorf("escalation: %v, %v", got, err)
	}
	if got, err := d.FlagNotAssessed(ctx, scope); err != nil || len(got) != 0 {
		t.Errorf("not assessed: %v, %v", got, err)
	}
	if got, err := d.FlagClusters(ctx, scope, 3, "animal"); err != nil || len(got) != 0 {
		t.Errorf("clusters: %v, %v", got, err)
	}
	if got, err := d.FindingStates(ctx, scope); err != nil || len(got) != 0 {
		t.Errorf("findings: %v, %v", got, err)
	}
	if got, err := d.AdviceCounts(ctx, scope); err != nil || len(got) != 1 {
		t.Errorf("advice: %v, %v", got, err)
	}
	if got, err := d.MissedCases(ctx, scope, 3); err != nil || len(got) != 0 {
		t.Errorf("missed: %v, %v", got, err)
	}
}
