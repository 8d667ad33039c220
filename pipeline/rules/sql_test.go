package rules

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	duckdb "github.com/duckdb/duckdb-go/v2"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/findings"
)

// stress uses every operator, kind of limit and hostile word, and more than 64
// flags, so that a second word of bits is needed.
func stress(t testing.TB) *Set {
	t.Helper()
	hostile := []string{"O'Hara'; DROP TABLE cases; --", `a"b\c`, "''", "x') OR true --", "%", "éß"}
	var b strings.Builder
	b.WriteString(strings.Replace(head, "r_1", "stress", 1))
	flag := func(id, level, unknown string, lines ...string) {
		fmt.Fprintf(&b, "  - id: %s\n    title: \"'; DROP TABLE cases; --\"\n    why: W\n    demands: %s\n    when_unknown: %s\n    %s\n",
			id, level, unknown, strings.Join(lines, "\n    "))
	}
	levels := []string{"emergency", "same_day", "soon", "home_care"}
	for i, op := range []string{"at_least: 39.5", "above: 39.5", "at_most: 37.05", "below: 37", "at_least: 38, below: 39", "above: 38, at_most: 38.3"} {
		flag(fmt.Sprintf("t%d", i), levels[i%4], []string{"raise", "leave"}[i%2], "all: [{finding: temperature_c, "+op+"}]")
	}
	for i, h := range hostile {
		q := strings.ReplaceAll(strings.ReplaceAll(h, `\`, `\\`), `"`, `\"`)
		flag(fmt.Sprintf("h%d", i), levels[i%4], "raise", `breed_group: ["`+q+`"]`, "all: [{finding: pupils, is: [equal, unequal]}]")
		flag(fmt.Sprintf("c%d", i), levels[i%4], "leave", `complaint: ["`+q+`", other]`, "all: [{finding: pupils, is_not: [both_wide]}]")
	}
	ages := []string{"{at_least: 0}", "{at_least: 6}", "{below: 1}", "{below: 6}", "{at_least: 6, below: 7}"}
	for i, a := range ages {
		flag(fmt.Sprintf("a%d", i), levels[i%4], "leave", "age_months: "+a, "all: [{finding: gum_colour, is_not: [pink, pale_pink]}]")
	}
	for i := range 50 {
		flag(fmt.Sprintf("m%d", i), levels[i%4], []string{"leave", "raise"}[i%2], "species: [dog, ferret]", "sex: "+[]string{"male", "female"}[i%2],
			"neutered: [yes, no]", fmt.Sprintf("all: [{finding: breathing_rate, at_least: %d}, {finding: heart_rate, below: %d}]", 30+i, 180-i))
	}
	s, err := Parse("stress.yaml", []byte(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// directed makes records aimed at the flags of p: each takes one flag and sets
// its limits and findings to satisfy it, at the threshold itself or one step to
// either side, with now and then an unknown; the rest is drawn at random.
func directed(p *Program, n int, seed uint64) []Record {
	r := rand.New(rand.NewPCG(seed, 7))
	species, breeds, complaints := []string{"dog", "cat", "rabbit", "horse", "ferret", ""}, []string{"small", "unknown", ""}, []string{"skin", "other", ""}
	for _, f := range p.Set.Flags {
		breeds, complaints = append(breeds, f.BreedGroup...), append(complaints, f.Complaint...)
	}
	pick := func(list []string) string { return list[r.IntN(len(list))] }
	out := make([]Record, n)
	for i := range out {
		rec := Record{Species: pick(species), Sex: pick([]string{"male", "female", "unknown", ""}), Neutered: pick([]string{"yes", "no", "unknown", ""}),
			BreedGroup: pick(breeds), Complaint: pick(complaints), AgeMonths: int32(r.IntN(30)) - 1, Values: make([]int32, len(p.Dict.Findings))}
		for j := range rec.Values {
			rec.Values[j] = anyValue(r, &p.Dict.Findings[j])
		}
		aim(r, &rec, &p.flags[i%len(p.flags)])
		out[i] = rec
	}
	return out
}

// anyValue draws a stored number: half of the time one of the unknown states.
func anyValue(r *rand.Rand, f *findings.Finding) int32 {
	if r.IntN(2) == 0 {
		return -1 - int32(r.IntN(4))
	}
	if f.Kind == findings.Code {
		return int32(r.IntN(len(f.Codes) + 2)) // 0 and one too many are no places
	}
	return int32(r.IntN(int(f.MaxStored()) + 2))
}

func aim(r *rand.Rand, rec *Record, f *flag) {
	set := func(to *string, list []string) {
		if len(list) > 0 && r.IntN(12) > 0 {
			*to = list[r.IntN(len(list))]
		}
	}
	set(&rec.Species, f.Species)
	set(&rec.Sex, f.Sex)
	set(&rec.Neutered, f.Neutered)
	set(&rec.BreedGroup, f.BreedGroup)
	set(&rec.Complaint, f.Complaint)
	if f.Age.Limits() && r.IntN(8) > 0 {
		edges := []int{f.Age.AtLeast, f.Age.Below - 1, f.Age.Below, f.Age.AtLeast - 1}
		rec.AgeMonths = int32(max(edges[r.IntN(len(edges))], -1))
	}
	for i := range f.conds {
		c := &f.conds[i]
		switch {
		case r.IntN(8) == 0: // leave it to chance
		case c.code:
			var places []int32
			for v := int32(1); v < 64; v++ {
				if c.yes>>v&1 == 1 {
					places = append(places, v)
				}
			}
			if len(places) > 0 {
				rec.Values[c.index] = places[r.IntN(len(places))]
			}
		default:
			edges := []int32{c.low, c.low, c.high, c.high, c.low + 1, c.low - 1, min(c.high, 30000) + 1, c.high - 1}
			rec.Values[c.index] = min(max(edges[r.IntN(len(edges))], -1), 32000)
		}
	}
}

// load puts the records into a table of a new database, in the types of `cases`.
func load(t testing.TB, recs []Record) *sql.DB {
	t.Helper()
	ctx := context.Background()
	db, err := duck.Open(ctx, duck.Options{Threads: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	d := findings.Default()
	columns := "i INTEGER, species VARCHAR, sex VARCHAR, neutered VARCHAR, breed_group VARCHAR, complaint VARCHAR, age_months INTEGER"
	for i := range d.Findings {
		columns += ", " + d.Findings[i].Column() + " " + d.Findings[i].SQLType()
	}
	conn, err := db.Conn(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := conn.ExecContext(ctx, "CREATE TABLE cases ("+columns+")"); err != nil {
		t.Fatal(err)
	}
	err = conn.Raw(func(raw any) error {
		app, err := duckdb.NewAppenderFromConn(raw.(driver.Conn), "", "cases")
		if err != nil {
			return err
		}
		for i := range recs {
			if err := app.AppendRow(row(i, &recs[i])...); err != nil {
				return err
			}
		}
		return app.Close()
	})
	if err != nil {
		t.Fatal(err)
	}
	return db
}

// row makes a table row; a blank word becomes NULL in every second row, so that
// both forms of "not recorded" are tried, and so does an age of -1.
func row(i int, r *Record) []driver.Value {
	word := func(s string) driver.Value {
		if s == "" && i%2 == 0 {
			return nil
		}
		return s
	}
	out := []driver.Value{int32(i), word(r.Species), word(r.Sex), word(r.Neutered), word(r.BreedGroup), word(r.Complaint), r.AgeMonths}
	if r.AgeMonths < 0 && i%2 == 0 {
		out[6] = nil
	}
	for j, v := range r.Values {
		switch {
		case v == codes.NotAsked && (i+j)%3 == 0:
			out = append(out, nil) // a column that is NULL is not asked as well
		case findings.Default().Findings[j].SQLType() == "SMALLINT":
			out = append(out, int16(v))
		default:
			out = append(out, v)
		}
	}
	return out
}

// compare holds Eval and Select to one answer for every record and part, and
// returns how often each flag of the first part fired and was unknown.
func compare(t *testing.T, db *sql.DB, recs []Record, parts ...Part) (fired, unknown []int) {
	t.Helper()
	query, err := Select("cases", parts...)
	if err != nil {
		t.Fatal(err)
	}
	names := []string{"i"}
	for _, p := range parts {
		names = append(names, p.Columns()...)
	}
	rows, err := db.Query("SELECT " + strings.Join(names, ", ") + " FROM (" + query + ") ORDER BY i")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	fired, unknown = make([]int, len(parts[0].Program.flags)), make([]int, len(parts[0].Program.flags))
	got := make([]uint64, len(names))
	into := make([]any, len(names))
	for i := range got {
		into[i] = &got[i]
	}
	var out Result
	n, wrong := 0, 0
	for rows.Next() && wrong < 5 {
		if err := rows.Scan(into...); err != nil {
			t.Fatal(err)
		}
		want := []uint64{uint64(n)}
		for k, p := range parts {
			p.Program.Eval(&recs[n], &out)
			want = append(want, uint64(out.Low), uint64(out.Level), uint64(out.High))
			for w := range out.Fired {
				want = append(want, out.Fired[w], out.Unknown[w])
			}
			for i := range fired {
				if k == 0 && Bit(out.Fired, i) {
					fired[i]++
				}
				if k == 0 && Bit(out.Unknown, i) {
					unknown[i]++
				}
			}
		}
		if !slices.Equal(got, want) {
			wrong++
			t.Errorf("record %d %+v:\nSQL %v\nGo  %v", n, recs[n], got, want)
		}
		n++
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	if n != len(recs) && wrong == 0 {
		t.Errorf("%d rows came back for %d records", n, len(recs))
	}
	return fired, unknown
}

// TestOneAnswer holds the Go evaluator and the SQL to one answer on 100,000
// records for the demonstration rules and the stress set in one scan. The inputs
// are worth something only if every flag fires in some and not in most, and is
// unknown in some: this is asserted for both sets.
func TestOneAnswer(t *testing.T) {
	demoSet, stressSet := compiled(t, demo(t)), compiled(t, stress(t))
	if stressSet.Set.Words() != 2 {
		t.Fatalf("the stress set needs two words, has %d flags", len(stressSet.flags))
	}
	for _, c := range []struct {
		name         string
		first, other Part
		records      int
	}{
		{"demonstration", Part{Program: demoSet}, Part{Program: stressSet, Prefix: "new_"}, 100_000},
		{"stress", Part{Program: stressSet, Prefix: "s_"}, Part{Program: demoSet, Prefix: "d_"}, 30_000},
		{"no flag for most species", Part{Program: compiled(t, parse(t, ladder))}, Part{Program: demoSet, Prefix: "d_"}, 5_000},
	} {
		recs := directed(c.first.Program, c.records, 20260101)
		fired, unknown := compare(t, load(t, recs), recs, c.first, c.other)
		for i, n := range fired {
			share := float64(n) / float64(len(recs))
			if share < 0.01 || share > 0.99 || unknown[i] == 0 {
				t.Errorf("%s: flag %s fires in %.2f %% of the records and is unknown in %d: the inputs do not test it",
					c.name, c.first.Program.flags[i].ID, 100*share, unknown[i])
			}
		}
	}
}

// TestHostileWords shows that a word of a rules file stays a value: the table is
// still there and each word matches only itself.
func TestHostileWords(t *testing.T) {
	p := compiled(t, stress(t))
	var words []string
	for _, f := range p.Set.Flags {
		words = append(words, f.BreedGroup...)
	}
	recs := make([]Record, len(words))
	for i, w := range words {
		recs[i] = Record{Species: "dog", BreedGroup: w, Values: values(map[string]int32{"pupils": 1})}
	}
	db := load(t, recs)
	fired, _ := compare(t, db, recs, Part{Program: p})
	for i, f := range p.Set.Flags {
		if len(f.BreedGroup) > 0 && fired[i] != 1 {
			t.Errorf("breed group %q matches %d of %d words, want itself only", f.BreedGroup[0], fired[i], len(words))
		}
	}
	var n int
	if err := db.QueryRow("SELECT count(*) FROM cases").Scan(&n); err != nil || n != len(recs) {
		t.Errorf("table after the query: %d rows, %v", n, err)
	}
	query, err := Select("cases", Part{Program: p})
	if err != nil || strings.Contains(query, "title") || strings.Count(query, "DROP TABLE") != strings.Count(query, "O''Hara''; DROP TABLE") {
		t.Errorf("titles must not enter the query, and words only as quoted literals (%v)", err)
	}
}

func TestSelectRefusesPrefixes(t *testing.T) {
	p := compiled(t, parse(t, head+flagA))
	for _, prefix := range []string{"a b", "x; DROP TABLE cases", `"`, "É"} {
		if _, err := Select("cases", Part{Program: p, Prefix: prefix}); err == nil {
			t.Errorf("prefix %q was taken", prefix)
		}
	}
	if _, err := Select("cases", Part{Program: p}, Part{Program: p}); err == nil {
		t.Error("two parts with one prefix were taken")
	}
	if q, err := Select("cases"); err != nil || q != "SELECT * FROM cases" {
		t.Errorf("no part: %q, %v", q, err)
	}
}

// TestTenThousandFlags runs the largest set through DuckDB.
func TestTenThousandFlags(t *testing.T) {
	if testing.Short() {
		t.Skip("10,000 flags take some seconds")
	}
	p := compiled(t, parse(t, manyFlags(MaxFlags)))
	recs := directed(p, 200, 3)
	compare(t, load(t, recs), recs, Part{Program: p})
}

// TestEncodeSQL holds the dictionary's two encoders to one answer; it stands
// here because this package's test opens a database already.
func TestEncodeSQL(t *testing.T) {
	ctx := context.Background()
	db, err := duck.Open(ctx, duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	d := findings.Default()
	words := []string{"NULL", "''", "'Pink'", "'none''; --'"}
	var columns []string
	for i := range d.Findings {
		for _, c := range d.Findings[i].Codes {
			words = append(words, quote(c.ID))
		}
		columns = append(columns, d.Findings[i].SQL())
	}
	query := "SELECT state, reason, value_number, value_code, " + strings.Join(columns, ", ") + " FROM (SELECT unnest([" +
		"'done', 'not_possible', 'declined', 'not_asked', '', NULL]) AS state), (SELECT unnest([NULL, 'stopped_early', 'unsafe']) AS reason), " +
		"(SELECT unnest([NULL::DOUBLE, 0, 0.04, 0.05, 0.25, 1.05, 2.5, 9.95, 10, 10.01, 37.35, 300, 500, 720, 721, -0.01, -1, 'NaN'::DOUBLE, 'Infinity'::DOUBLE]) AS value_number), " +
		"(SELECT unnest([" + strings.Join(words, ", ") + "]) AS value_code)"
	rows, err := db.QueryContext(ctx, query)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	n := 0
	for rows.Next() && !t.Failed() {
		var state, reason, word sql.NullString
		var number sql.NullFloat64
		got := make([]int32, len(d.Findings))
		into := []any{&state, &reason, &number, &word}
		for i := range got {
			into = append(into, &got[i])
		}
		if err := rows.Scan(into...); err != nil {
			t.Fatal(err)
		}
		if !number.Valid {
			number.Float64 = math.NaN()
		}
		for i := range got {
			if want := d.Findings[i].Encode(state.String, reason.String, number.Float64, word.String); got[i] != want {
				t.Errorf("%s %q %q %v %q: SQL %d, Go %d", d.Findings[i].ID, state.String, reason.String, number.Float64, word.String, got[i], want)
			}
		}
		n++
	}
	if err := rows.Err(); err != nil || n < 10_000 {
		t.Errorf("%d rows compared, %v", n, err)
	}
}

// BenchmarkSelect counts the demonstration rules over a million cases.
func BenchmarkSelect(b *testing.B) {
	if os.Getenv("HINDCHECK_BENCH") == "" {
		b.Skip("set HINDCHECK_BENCH=1: it builds a table of a million rows")
	}
	p := compiled(b, demo(b))
	db := load(b, directed(p, 1<<20, 1))
	query, err := Select("cases", Part{Program: p})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		var n int
		if err := db.QueryRow("SELECT count(*) FROM (" + query + ") WHERE rule_level = 4 AND fired_0 & 1 = 0 AND unknown_0 <> 1").Scan(&n); err != nil {
			b.Fatal(err)
		}
	}
}
