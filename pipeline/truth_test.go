package pipeline_test

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline/store"
)

// writeEpisodes writes what the generator knows of each episode, one row each,
// under the pseudonym that the reader gives to its first record.
func writeEpisodes(t *testing.T, o demo.Options, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w := bufio.NewWriter(f)
	key := testKey(t, 7)
	fmt.Fprintln(w, "call,level,recorded,later,contacts,fired,unknown,needed,emergency,verified")
	if err := demo.Simulate(o, func(e *demo.Episode) {
		p := key.Pseudonym("call", fmt.Sprintf("C%d\x1f%d", e.Contact, e.Line))
		fmt.Fprintf(w, "%x-%x-%x-%x-%x,%d,%d,%d,%d,%d,%d,%v,%v,%v\n", p[:4], p[4:6], p[6:8], p[8:10], p[10:], e.Level, e.RuleLevel, e.LaterLevel,
			e.Contacts, e.Fired, e.Unknown, e.NeedSameDay, e.NeedEmergency, e.Verified)
	}); err != nil {
		t.Fatal(err)
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
}

// Through all the faults of the exports, the cases say of each episode what the
// generator knows: advice, rules, flags, contacts; and of verified ones the need.
func TestCasesTellTheTruthOfTheLine(t *testing.T) {
	o := demo.Options{Seed: 31, Calls: 9000, World: demo.WorldSelfPresenting}
	dir := demoLine(t, o)
	opt := loadOptions(t, dir)
	load(t, opt)
	truth := filepath.Join(dir, "truth.csv")
	writeEpisodes(t, o, truth)
	s, err := store.Open(opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	db := openDuck(t)
	for _, q := range []string{
		fmt.Sprintf("CREATE TABLE cases AS SELECT * FROM read_parquet(['%s'])", strings.Join(s.Paths(store.Cases, ""), "','")),
		fmt.Sprintf("CREATE TABLE truth AS SELECT call::UUID AS call, * EXCLUDE (call) FROM read_csv('%s', header = true)", truth),
	} {
		if _, err := db.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	var episodes, joined, extra, differ, verified, wrong int64
	if err := db.QueryRow(`SELECT (SELECT count(*) FROM truth), count(*) FILTER (t.call IS NOT NULL), count(*) FILTER (t.call IS NULL),
		count(*) FILTER (c.level <> t.level OR c.recorded_rule_level <> t.recorded OR c.rule_level <> t.recorded OR c.later_level <> t.later
			OR c.contacts <> t.contacts OR c.fired_0 <> t.fired OR c.unknown_0 <> t.unknown),
		count(*) FILTER (c.need_same_day >= 0),
		count(*) FILTER (c.need_same_day >= 0 AND (c.need_same_day = 1) <> t.needed OR c.need_emergency >= 0 AND (c.need_emergency = 1) <> t.emergency
			OR (c.need_same_day >= 0) <> t.verified)
		FROM cases c LEFT JOIN truth t USING (call)`).Scan(&episodes, &joined, &extra, &differ, &verified, &wrong); err != nil {
		t.Fatal(err)
	}
	if joined != episodes || extra != 0 || differ != 0 {
		t.Errorf("%d of %d episodes found, %d that never were, %d differ; want all, 0 and 0", joined, episodes, extra, differ)
	}
	// A vet's level differs from the truth now and then.
	if verified < episodes/4 || wrong*200 > verified {
		t.Errorf("%d of %d episodes verified, %d against the truth; want a quarter and at most 1 in 200", verified, episodes, wrong)
	}
}
