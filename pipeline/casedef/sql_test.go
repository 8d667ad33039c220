package casedef

import (
	"cmp"
	"context"
	"database/sql"
	"database/sql/driver"
	"fmt"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"
	"time"

	duckdb "github.com/duckdb/duckdb-go/v2"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/duck"
)

// randomOutcomes draws up to five outcomes whose times cluster at the edges that
// matter: the first contact, the ends of the hours, the end of the window.
func randomOutcomes(r *rand.Rand) []Outcome {
	pick := func(words ...string) string { return words[r.IntN(len(words))] }
	edges := []time.Duration{-25 * time.Hour, -24 * time.Hour, 0, time.Hour, 10 * time.Hour, 24 * time.Hour, 30 * time.Hour, 72 * time.Hour, 80 * time.Hour, 300 * time.Hour}
	out := make([]Outcome, r.IntN(6))
	for i := range out {
		at := start.Add(edges[r.IntN(len(edges))] + time.Duration(r.IntN(3)-1)*time.Microsecond)
		o := Outcome{Source: codes.Source(1 + r.IntN(20)/9), Route: codes.Route(r.IntN(5)), SeenAt: at,
			Practice: pick("", "p1", "p2"), VetLevel: codes.Level(r.IntN(5)), TimeCritical: codes.Tri(r.IntN(3) - 1),
			Disposition:      pick("", "", "sent_home", "treated_sent_home", "admitted", "operated", "referred", "died", "euthanised", "dead_on_arrival", "did_not_attend", "lost"),
			DiagnosisGroup:   pick("", "gut", "heart"),
			EuthanasiaReason: pick("", "", "prognosis", "cost", "unknown", "welfare"),
			Independent:      pick("", "yes", "no", "unknown"), Responded: codes.Tri(min(r.IntN(5), 2) - 1),
			NoAttendReason: pick("", "", "", "cost", "distance")}
		if o.VetLevel > 0 && r.IntN(3) == 0 { // severe ones would drown the rest
			o.VetLevel = codes.HomeCare
		}
		if r.IntN(2) == 0 {
			o.RecordedAt = at.Add(time.Duration(r.IntN(100)) * time.Hour)
		}
		if r.IntN(2) == 0 {
			o.SelectionP = float64(1+r.IntN(9)) / 10
		}
		for j := range o.ID {
			o.ID[j] = byte(r.Uint32())
		}
		out[i] = o
	}
	return out
}

// load fills ep and oc of a new database.
func load(t testing.TB, episodes [][]Outcome) *sql.DB {
	t.Helper()
	ctx := context.Background()
	db, err := duck.Open(ctx, duck.Options{Threads: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	conn, err := db.Conn(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	for _, s := range []string{
		"CREATE TABLE ep (episode INTEGER, started_at TIMESTAMP)",
		`CREATE TABLE oc (episode INTEGER, outcome UUID, practice VARCHAR, source VARCHAR, route VARCHAR, seen_at TIMESTAMPTZ, recorded_at TIMESTAMPTZ,
			vet_level VARCHAR, disposition VARCHAR, time_critical BOOLEAN, diagnosis_group VARCHAR, euthanasia_reason VARCHAR,
			independent VARCHAR, selection_p DOUBLE, responded BOOLEAN, no_attend_reason VARCHAR)`,
	} {
		if _, err := conn.ExecContext(ctx, s); err != nil {
			t.Fatal(err)
		}
	}
	fill := func(table string, each func(add func(...driver.Value) error) error) {
		err := conn.Raw(func(raw any) error {
			app, err := duckdb.NewAppenderFromConn(raw.(driver.Conn), "", table)
			if err != nil {
				return err
			}
			if err := each(app.AppendRow); err != nil {
				return err
			}
			return app.Close()
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	fill("ep", func(add func(...driver.Value) error) error {
		for i := range episodes {
			if err := add(int32(i), start); err != nil {
				return err
			}
		}
		return nil
	})
	fill("oc", func(add func(...driver.Value) error) error {
		for i, outcomes := range episodes {
			for k := range outcomes {
				if err := add(cells(i, &outcomes[k])...); err != nil {
					return err
				}
			}
		}
		return add(cells(len(episodes), &Outcome{Source: codes.Vet, SeenAt: start})...) // its episode is not in ep
	})
	return db
}

func cells(episode int, o *Outcome) []driver.Value {
	word := func(s string) driver.Value {
		if s == "" {
			return nil
		}
		return s
	}
	tri := func(v codes.Tri) driver.Value {
		if v == codes.Unknown {
			return nil
		}
		return v == codes.Yes
	}
	out := []driver.Value{int32(episode), duckdb.UUID(o.ID), word(o.Practice), o.Source.String(), word(o.Route.String()), o.SeenAt, nil,
		word(o.VetLevel.String()), word(o.Disposition), tri(o.TimeCritical), word(o.DiagnosisGroup), word(o.EuthanasiaReason),
		word(o.Independent), nil, tri(o.Responded), word(o.NoAttendReason)}
	if !o.RecordedAt.IsZero() {
		out[6] = o.RecordedAt
	}
	if o.SelectionP > 0 {
		out[13] = o.SelectionP
	}
	return out
}

// asRow writes a Result as the query returns it, in the order of Columns.
func asRow(r Result) string {
	text := func(s string) string { return cmp.Or(s, "NULL") }
	minutes, p := "NULL", "NULL"
	if r.Minutes >= 0 {
		minutes = fmt.Sprint(r.Minutes)
	}
	if r.AuditP > 0 {
		p = fmt.Sprint(r.AuditP)
	}
	return strings.Join([]string{text(r.Practice), fmt.Sprint(int8(r.Route)), fmt.Sprint(int8(r.Source)), minutes, fmt.Sprint(int8(r.VetLevel)),
		text(r.Disposition), text(r.EuthanasiaReason), text(r.DiagnosisGroup), fmt.Sprint(int8(r.Independent)),
		fmt.Sprint(int8(r.LevelEmergency)), fmt.Sprint(int8(r.LevelSameDay)), fmt.Sprint(int8(r.Admitted)), fmt.Sprint(int8(r.Surgery)),
		fmt.Sprint(int8(r.TimeCritical)), fmt.Sprint(int8(r.Death)), fmt.Sprint(int8(r.Euthanised)), fmt.Sprint(int8(r.NeedEmergency)),
		fmt.Sprint(int8(r.NeedSameDay)), fmt.Sprint(int8(r.Attended)), text(r.NoAttendReason), fmt.Sprint(r.AuditSelected), p,
		fmt.Sprint(r.AuditResponded), fmt.Sprint(r.Outcomes), fmt.Sprint(r.Conflicts), fmt.Sprint(r.Died)}, " ")
}

// TestOneAnswer holds Eval and SQL to one answer on 20,000 random episodes for
// each of three definitions, and asserts that the draw reaches every value of
// every component and need often enough to mean something.
func TestOneAnswer(t *testing.T) {
	r := rand.New(rand.NewPCG(20260101, 3))
	episodes := make([][]Outcome, 20_000)
	for i := range episodes {
		episodes[i] = randomOutcomes(r)
	}
	db := load(t, episodes)
	names := []string{}
	for _, c := range Columns() {
		names = append(names, "coalesce("+c.Name+"::VARCHAR, 'NULL')")
	}
	for _, d := range []*Definition{demo(t), parse(t, text), parse(t, text+"owner_contact: seen_at\n")} {
		want := map[int]string{}
		reached := map[string]int{}
		for i, outcomes := range episodes {
			if len(outcomes) == 0 {
				continue
			}
			res := d.Eval(start, outcomes)
			want[i] = asRow(res)
			for name, v := range map[string]codes.Tri{"need_emergency": res.NeedEmergency, "need_same_day": res.NeedSameDay, "level_emergency": res.LevelEmergency,
				"level_same_day": res.LevelSameDay, "admitted": res.Admitted, "surgery": res.Surgery, "time_critical": res.TimeCritical, "death": res.Death,
				"euthanasia": res.Euthanised, "attended": res.Attended, "independent": res.Independent, "conflict": codes.TriOf(res.Conflicts > 0),
				"died": codes.TriOf(res.Died), "audit": codes.TriOf(res.AuditResponded)} {
				reached[name+" "+v.String()]++
			}
			reached["route "+res.Route.String()]++
			reached["source "+res.Source.String()]++
			reached["disposition "+res.Disposition]++
		}
		rows, err := db.Query("SELECT episode, concat_ws(' ', " + strings.Join(names, ", ") + ") FROM (" + SQL(d) + ")")
		if err != nil {
			t.Fatal(err)
		}
		wrong := 0
		for rows.Next() && wrong < 5 {
			var i int
			var got string
			if err := rows.Scan(&i, &got); err != nil {
				t.Fatal(err)
			}
			if got != want[i] {
				wrong++
				t.Errorf("%s, episode %d %+v:\nSQL %s\nGo  %s", d.ID, i, episodes[i], got, want[i])
			}
			delete(want, i)
		}
		if err := rows.Err(); err != nil {
			t.Fatal(err)
		}
		rows.Close()
		if len(want) > 0 && wrong == 0 {
			t.Errorf("%s: %d episodes did not come back", d.ID, len(want))
		}
		if len(reached) < 14*2+9+5+3+10 {
			t.Errorf("only %d values were reached: %v", len(reached), reached)
		}
		for v, n := range reached {
			if n < 20 {
				t.Errorf("%s: %s was reached %d times only", d.ID, v, n)
			}
		}
	}
}

// TestColumns holds Columns to the query: names, order and types.
func TestColumns(t *testing.T) {
	db := load(t, [][]Outcome{{vet(1, codes.Soon, "sent_home")}})
	rows, err := db.Query("SELECT * FROM (" + SQL(demo(t)) + ")")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	types, err := rows.ColumnTypes()
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range Columns() {
		if got := types[i+1]; got.Name() != c.Name || got.DatabaseTypeName() != c.Type {
			t.Errorf("column %d is %s %s, want %s %s", i+1, got.Name(), got.DatabaseTypeName(), c.Name, c.Type)
		}
		if c.None == "" {
			t.Errorf("%s has no value for an episode without outcomes", c.Name)
		}
	}
	if len(types) != len(Columns())+1 {
		t.Errorf("%d columns, want %d", len(types), len(Columns())+1)
	}
	// An episode without outcomes, by Eval, must be what None says.
	var none []string
	for _, c := range Columns() {
		none = append(none, c.None)
	}
	if got := asRow(demo(t).Eval(start, nil)); got != strings.Join(none, " ") {
		t.Errorf("no outcomes: Eval %s, Columns %s", got, strings.Join(none, " "))
	}
}

func TestEveryPlaceIsFilled(t *testing.T) {
	if left := regexp.MustCompile(`\{[a-z_]+\}`).FindAllString(SQL(demo(t)), -1); left != nil {
		t.Errorf("not filled: %v", left)
	}
}
