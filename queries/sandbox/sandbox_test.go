package sandbox

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/privacy"
)

// TestMain makes this test binary the child that Run starts.
func TestMain(m *testing.M) {
	if len(os.Args) == 2 && os.Args[1] == "sandbox-child" {
		os.Exit(Child(context.Background(), os.Stdin, os.Stdout, os.Stderr))
	}
	os.Exit(m.Run())
}

var self = Worker{Path: os.Args[0], Args: []string{"sandbox-child"}}

// demoStore loads two months of the demonstration line.
func demoStore(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	exports := filepath.Join(dir, "exports")
	if _, err := demo.Generate(context.Background(), demo.Options{Seed: 5, Calls: 300, Dir: exports,
		From: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)}); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(dir, demo.Settings()); err != nil {
		t.Fatal(err)
	}
	key, err := privacy.NewKey(bytes.Repeat([]byte{1, 2, 3, 4}, 8))
	if err != nil {
		t.Fatal(err)
	}
	_, err = pipeline.Load(context.Background(), pipeline.LoadOptions{
		Store: filepath.Join(dir, "store"), Exports: []string{exports}, Sources: []string{filepath.Join(dir, "sources")},
		Files: pipeline.DefinitionFiles{Rules: filepath.Join(dir, "rules.yaml"), CaseDefinition: filepath.Join(dir, "case_definition.yaml"), Strata: filepath.Join(dir, "strata.yaml")},
		Key:   key, Now: time.Date(2026, 11, 10, 8, 0, 0, 0, time.UTC), Threads: 2, Software: "test",
	})
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "store")
}

// digest hashes every file below a folder, with its name.
func digest(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		out[path] = fmt.Sprintf("%x", sha256.Sum256(data))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// ask runs one query the way report sql does.
func ask(store, text, format string, limit time.Duration) (string, error) {
	var out bytes.Buffer
	err := Run(context.Background(), self, Request{Store: store, Text: text, Format: format, Threads: 2, MemoryMB: 256, Limit: limit}, &out)
	return out.String(), err
}

type attempt struct {
	line       int
	want, text string
}

func attempts(t *testing.T, store, out string) []attempt {
	t.Helper()
	var list []attempt
	text := strings.NewReplacer("STORE", store, "OUT", out).Replace(readFile(t, "testdata/escapes.sql"))
	for i, line := range strings.Split(text, "\n") {
		if line == "" || strings.HasPrefix(line, "--") {
			continue
		}
		want, query, ok := strings.Cut(line, ":")
		if !ok || want != "refused" && want != "stopped" {
			t.Fatalf("escapes.sql: row %d: expected refused: or stopped: and a query", i+1)
		}
		list = append(list, attempt{i + 1, want, strings.TrimSpace(query)})
	}
	return list
}

// run makes one attempt the way report sql does.
func (a attempt) run(t *testing.T, store string) {
	limit := 20 * time.Second
	if a.want == "stopped" {
		limit = 1500 * time.Millisecond
	}
	if a.text == "" {
		a.text = " "
	}
	result, err := ask(store, a.text, "csv", limit)
	want := map[string]error{"refused": ErrRefused, "stopped": ErrStopped}[a.want]
	if !errors.Is(err, want) {
		t.Errorf("escapes.sql row %d: %s\n  expected %v, got %v", a.line, a.text, want, err)
	}
	if strings.Contains(result, "a-secret") || err != nil && strings.Contains(err.Error(), "a-secret") {
		t.Errorf("escapes.sql row %d leaks the environment", a.line)
	}
}

// Whatever is tried, the query is refused or stopped, and no file of the store
// is another afterwards nor any file made.
func TestEscapes(t *testing.T) {
	store, out := demoStore(t), t.TempDir()
	t.Setenv("HINDCHECK_KEY", "a-secret-that-must-not-leak")
	before := digest(t, store)
	list := attempts(t, store, out)
	if len(list) < 100 {
		t.Fatalf("%d attempts, expected at least 100", len(list))
	}
	// A few at a time: most of the time goes into starting processes.
	var group errgroup.Group
	group.SetLimit(3)
	for _, a := range list {
		group.Go(func() error {
			a.run(t, store)
			return nil
		})
	}
	_ = group.Wait()
	if after := digest(t, store); fmt.Sprint(after) != fmt.Sprint(before) {
		t.Errorf("files of the store changed: %d before, %d after", len(before), len(after))
	}
	if made := digest(t, out); len(made) > 0 {
		t.Errorf("files were made: %v", made)
	}
}

// What a researcher asks works, in every format.
func TestQueries(t *testing.T) {
	store := demoStore(t)
	for name, c := range map[string]struct{ text, want string }{
		"count":     {"SELECT count(*) > 100 AS many FROM cases", "many\ntrue\n"},
		"join":      {"SELECT count(*) > 100 AS many FROM calls c JOIN checks k USING (call) WHERE k.state = 'done'", "many\ntrue\n"},
		"all views": {"SELECT count(*) AS n FROM (SELECT 1 FROM calls LIMIT 1), (SELECT 1 FROM checks LIMIT 1), (SELECT 1 FROM outcomes LIMIT 1), (SELECT 1 FROM coverage LIMIT 1), (SELECT 1 FROM cases LIMIT 1)", "n\n1\n"},
		"recursion": {"WITH RECURSIVE t AS (SELECT 1 AS a UNION ALL SELECT a + 1 FROM t WHERE a < 4) SELECT sum(a) AS s FROM t", "s\n10\n"},
		"windows":   {"SELECT a, lag(a) OVER (ORDER BY a) AS b FROM range(2) t(a) ORDER BY a", "a,b\n0,\n1,0\n"},
		"pivot":     {"SELECT * FROM (PIVOT (SELECT * FROM (VALUES ('x', 1), ('y', 2)) t(k, v)) ON k IN ('x', 'y') USING sum(v))", "x,y\n1,2\n"},
		"lists":     {"SELECT list_sum(list_transform([1, 2], x -> x * 2)) AS s, len([y FOR y IN [1, 2, 3] IF y > 1]) AS n", "s,n\n6,2\n"},
		"types":     {"SELECT DATE '2026-01-02' AS d, TIMESTAMP '2026-01-02 03:04:05' AS t, TIME '03:04:05' AS h, 1.50::DECIMAL(6,2) AS x, NULL AS n, -0.05::DECIMAL(4,3) AS y", "d,t,h,x,n,y\n2026-01-02,2026-01-02T03:04:05,03:04:05,1.50,,-0.050\n"},
		"zones":     {"SELECT timezone('Europe/Amsterdam', TIMESTAMPTZ '2026-07-01 12:00:00+00') AS l, TIMESTAMPTZ '2026-07-01 12:00:00+02' AS i", "l,i\n2026-07-01T14:00:00,2026-07-01T10:00:00Z\n"},
		"names":     {"SELECT 1 AS a, 2 AS a", "a,a_2\n1,2\n"},
		"sets":      {"SELECT 1 AS a UNION SELECT 2 EXCEPT SELECT 2", "a\n1\n"},
		"text":      {`SELECT 'a,"b' AS t, upper('x') || 'y' AS u, 'abc' LIKE 'a%' AS l, regexp_matches('abc', 'b') AS r`, "t,u,l,r\n\"a,\"\"b\",Xy,true,true\n"},
		"extract":   {"SELECT extract(year FROM DATE '2026-05-01') AS y, CASE WHEN true THEN 1 END AS c, coalesce(NULL, 2) AS k, 3 IN (1, 3) AS i, 2 BETWEEN 1 AND 3 AS b, TRY_CAST('x' AS INTEGER) AS z", "y,c,k,i,b,z\n2026,1,2,true,true,\n"},
		"grouping":  {"SELECT a, count(*) AS n FROM (VALUES (1), (1), (2)) t(a) GROUP BY ROLLUP (a) HAVING count(*) > 1 ORDER BY ALL", "a,n\n1,2\n,3\n"},
		"last part": {"SELECT quantile_cont(a, 0.5) AS m, arg_max(a, -a) AS x FROM range(5) t(a) QUALIFY row_number() OVER () = 1", "m,x\n2,0\n"},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := ask(store, c.text, "csv", 20*time.Second)
			if err != nil || got != c.want {
				t.Errorf("got %q, %v; want %q", got, err, c.want)
			}
		})
	}
	views, err := List(context.Background(), self, Request{Store: store})
	if err != nil {
		t.Fatal(err)
	}
	names := map[string]int{}
	for _, v := range views {
		names[v.Name] = len(v.Columns)
	}
	for _, want := range []string{"calls", "checks", "outcomes", "coverage", "cases", "set_aside"} {
		if names[want] < 5 {
			t.Errorf("view %s has %d columns", want, names[want])
		}
	}
	if _, err := ask(filepath.Join(store, "nowhere"), "SELECT 1", "csv", time.Minute); err == nil || errors.Is(err, ErrRefused) || !strings.Contains(err.Error(), "no store here") {
		t.Errorf("no store: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := Run(ctx, self, Request{Store: store, Text: "SELECT 1"}, &bytes.Buffer{}); !errors.Is(err, ErrStopped) {
		t.Errorf("cancelled: %v", err)
	}
}
