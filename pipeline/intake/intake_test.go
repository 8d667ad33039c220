package intake

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/source"
)

func testKey(t testing.TB) privacy.Key {
	t.Helper()
	k, err := privacy.NewKey([]byte("a key that is only for these tests"))
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func describe(t testing.TB, text string) *source.Description {
	t.Helper()
	d, err := source.Parse("test.yaml", []byte(text), findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func write(t testing.TB, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// read reads text as an export of 1 November 2026.
func read(t testing.TB, yaml, text string, workers int) (Result, []tuple, []tuple) {
	t.Helper()
	r, err := Read(context.Background(), Input{Path: write(t, "export-2026-11-01.csv", text), Desc: describe(t, yaml), Dict: findings.Default(), Key: testKey(t),
		Dir: t.TempDir(), FileNo: 3, Workers: workers})
	if err != nil {
		t.Fatal(err)
	}
	staged, aside := readParts(t, r.Parts, "src_row"), readParts(t, r.SetAsideParts, "row")
	if r.Rows != r.Staged+r.SetAside || int64(len(staged)) != r.Staged || int64(len(aside)) != r.SetAside {
		t.Errorf("rows %d, staged %d and %d in the parts, set aside %d and %d in the parts", r.Rows, r.Staged, len(staged), r.SetAside, len(aside))
	}
	return r, staged, aside
}

const head = `
source: test
file: {kind: csv, delimiter: ";", decimal: ","}
exported_at: {file_name: '(\d{4}-\d{2}-\d{2})', layout: "2006-01-02"}
zone: Europe/Berlin
`

// One call with every column, value by value.
func TestCallColumns(t *testing.T) {
	_, staged, _ := read(t, head+`
record: calls
columns:
  call: {from: [Line, Call], key: call}
  contact: {first_of: [[Line, From], [Line, Call]], key: contact}
  animal: {from: Animal no, key: animal}
  owner: {from: Owner, key: owner}
  advisor: {from: Advisor, key: advisor}
  site: {value: north}
  contact_type: {from: Type, values: {care: clinical, drill: test}}
  contact_kind: {from: Kind}
  started_at: {from: Started, layout: "02.01.2006 15:04"}
  ended_at: {from: Ended, layout: "02.01.2006 15:04"}
  species: {from: Animal, values: {Hund: dog}}
  breed_group: {from: Breed}
  sex: {from: Sex, values: {m: male}}
  neutered: {from: Cut, values: {j: "yes"}}
  age_months: {from: Age, unit_from: Age unit, units: {J: years, M: months}}
  weight_kg: {from: Weight, unit: g}
  complaint: {from: Reason}
  channel: {value: telephone}
  level: {from: Advice, values: {now: emergency}}
  rule_level: {from: Rule, values: {soon: soon}}
  ruleset: {from: Rules}
  override_reason: {from: Why}
  safety_net: {from: Told, values: {j: true, n: false}}
  call_seconds: {from: Minutes, unit: min}
  person_hurt: {from: Hurt, values: {bite: bitten}}
  recorded_at: {from: Saved, layout: "2006-01-02T15:04:05Z07:00"}
`, `Line;Call;From;Animal no;Owner;Advisor;Type;Kind;Started;Ended;Animal;Breed;Sex;Cut;Age;Age unit;Weight;Reason;Advice;Rule;Rules;Why;Told;Minutes;Hurt;Saved
L1;7;6;A;O;N;care;call_back;24.10.2026 10:00;24.10.2026 10:07;Hund;large;m;j;2;J;12500;cough;now;soon;2026-1;owner asked;j;7,5;bite;2026-10-24T10:08:09+02:00
`, 1)
	key := testKey(t)
	hex := func(space string, parts ...string) string {
		return fmt.Sprintf("%x", key.Pseudonym(space, strings.Join(parts, "\x1f")))
	}
	want := tuple{"call": hex("call", "L1", "7"), "contact": hex("contact", "L1", "6"), "animal": hex("animal", "A"), "owner": hex("owner", "O"), "advisor": hex("advisor", "N"),
		"site": "north", "contact_type": "clinical", "contact_kind": "call_back", "started_at": "2026-10-24T08:00:00Z", "ended_at": "2026-10-24T08:07:00Z", "zone": "Europe/Berlin",
		"species": "dog", "breed_group": "large", "sex": "male", "neutered": "yes", "age_months": "24", "weight_kg": "12.5", "complaint": "cough", "channel": "telephone",
		"level": "emergency", "rule_level": "soon", "ruleset": "2026-1", "override_reason": "owner asked", "safety_net": "true", "call_seconds": "450", "person_hurt": "bitten",
		"recorded_at": "2026-10-24T08:08:09Z", "exported_at": "2026-10-31T23:00:00Z", "src_file": "3", "src_row": "2", "row_hash": staged[0]["row_hash"]}
	if d := cmp.Diff([]tuple{want}, staged); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

func TestOutcomeAndCoverageColumns(t *testing.T) {
	_, staged, _ := read(t, head+`
record: outcomes
columns:
  outcome: {from: "No", key: outcome}
  call: {from: Call, key: call}
  source: {value: vet}
  route: {from: Route}
  seen_at: {from: Seen, layout: "02.01.2006 15:04"}
  disposition: {from: What}
  time_critical: {from: Urgent}
  treatment_begun: {from: Begun, values: {x: true}}
  match_score: {from: Match}
  selection_p: {from: P}
  responded: {value: true}
`, "No;Call;Route;Seen;What;Urgent;Begun;Match;P\n1;C1;audit;24.10.2026 10:00;admitted;TRUE;x;0,5;0,25\n", 1)
	for k, v := range map[string]string{"source": "vet", "route": "audit", "disposition": "admitted", "time_critical": "true", "treatment_begun": "true", "match_score": "0.5",
		"selection_p": "0.25", "responded": "true", "seen_at": "2026-10-24T08:00:00Z"} {
		if staged[0][k] != v {
			t.Errorf("%s is %q, want %q", k, staged[0][k], v)
		}
	}
	_, staged, aside := read(t, head+`
record: coverage
columns:
  feed: {from: Practice}
  from_date: {from: From, layout: "02.01.2006"}
  to_date: {from: To, layout: "02.01.2006"}
  delivered_at: {from: Sent, layout: "02.01.2006 15:04"}
  rows: {from: Rows}
`, "Practice;From;To;Sent;Rows\nP1;01.10.2026;31.10.2026;01.11.2026 08:00;12\nP2;02.10.2026;01.10.2026;01.11.2026 08:00;12\nP3;01.10.2026;31.10.2026;01.11.2026 08:00;1,5\n", 1)
	if d := cmp.Diff([]tuple{{"feed": "P1", "from_date": "2026-10-01", "to_date": "2026-10-31", "delivered_at": "2026-11-01T07:00:00Z", "rows": "12", "exported_at": "2026-10-31T23:00:00Z",
		"src_file": "3", "src_row": "2", "row_hash": staged[0]["row_hash"]}}, staged); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if len(aside) != 2 || aside[0]["reason"] != "end_before_start" || aside[1]["reason"] != "bad_number" {
		t.Errorf("set aside: %v", aside)
	}
}

const wideYAML = head + `
record: checks
columns:
  call: {from: Call, key: call}
  observer: {value: owner}
  setting: {from: Where, values: {home: home}}
wide:
  Gums: {finding: gum_colour, words: {pink: pink, pale: pale_pink}}
  Refill: {finding: capillary_refill_s, unit: s, blank: skip}
  Breaths: {finding: breathing_rate, unit: /15s, optional: true}
  Temp: {finding: temperature_c, unit: degC, optional: true}
`

// The wide form gives a row for each reading; what is wrong with one reading
// takes no other reading with it, what is wrong with the row takes it whole.
func TestWideForm(t *testing.T) {
	r, staged, aside := read(t, wideYAML, "Call;Where;Gums;Refill;Breaths\nC1;home;pink;2;8\nC2;home;;;\nC3;home;green;1,5;9\n;home;pink;1;8\nC5;moon;pink;1;8\nC6;home;pale;99;7\nC7;home\n", 1)
	got := []string{}
	for _, s := range staged {
		got = append(got, strings.Join([]string{s["src_row"], s["finding"], s["state"], s["value_code"], s["value_number"], s["seq"], s["setting"], s["observer"]}, " "))
	}
	slices.Sort(got)
	want := []string{
		"2 breathing_rate done  32 1 home owner", "2 capillary_refill_s done  2 1 home owner", "2 gum_colour done pink  1 home owner",
		"3 breathing_rate not_asked   1 home owner", "3 gum_colour not_asked   1 home owner",
		"4 breathing_rate done  36 1 home owner", "4 capillary_refill_s done  1.5 1 home owner",
		"7 breathing_rate done  28 1 home owner", "7 gum_colour done pale_pink  1 home owner",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	got = got[:0]
	for _, a := range aside {
		got = append(got, strings.Join([]string{a["row"], a["reason"], a["column"]}, " "))
	}
	if d := cmp.Diff([]string{"4 unmapped_word Gums", "5 missing_key Call", "6 unmapped_word Where", "7 out_of_range Refill", "8 broken_row "}, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if r.SourceRows != 7 || r.Rows != 14 {
		t.Errorf("%d rows of the export, %d rows", r.SourceRows, r.Rows)
	}
}

// With one bad row of each kind every reason is given, and each has a sentence.
func TestEveryReasonHasASentenceAndATest(t *testing.T) {
	if d := cmp.Diff(slices.Sorted(slices.Values(reasonNames[1:])), slices.Sorted(maps.Keys(Reasons()))); d != "" {
		t.Error(d)
	}
	cases, err := filepath.Glob("testdata/nasty/*.txt")
	if err != nil {
		t.Fatal(err)
	}
	seen := "unknown_unit " // TestUnknownUnit
	for _, p := range cases {
		data, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		seen += string(data)
	}
	for _, reason := range reasonNames[1:] {
		if !strings.Contains(seen, reason+" ") && !strings.Contains(seen, reason+"\n") {
			t.Errorf("no nasty input leads to %s", reason)
		}
	}
}

func TestUnknownUnit(t *testing.T) {
	_, staged, aside := read(t, head+`
record: calls
columns:
  call: {from: Call, key: call}
  contact: {from: Call, key: contact}
  contact_type: {value: clinical}
  started_at: {from: Started, layout: "02.01.2006 15:04"}
  species: {value: dog}
  weight_kg: {from: Weight, unit_from: Unit, units: {kg: kg, Pfund: lb}}
`, "Call;Started;Weight;Unit\n1;24.10.2026 10:00;10;KG\n2;24.10.2026 10:00;10;stone\n3;24.10.2026 10:00;10;\n4;24.10.2026 10:00;;\n5;24.10.2026 10:00;10;pfund\n", 1)
	if len(staged) != 3 || len(aside) != 2 || aside[0]["reason"] != "unknown_unit" || aside[1]["reason"] != "unknown_unit" || aside[0]["column"] != "Unit" {
		t.Errorf("staged %v\nset aside %v", staged, aside)
	}
}

// Whatever the number of workers, the same rows come out; only the parts differ.
func TestDeterministic(t *testing.T) {
	desc, err := source.Read("testdata/nasty/checks.yaml", findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(5, 5))
	var b strings.Builder
	b.WriteString("Call;Item;Answer;State;Why;Count;Seconds\n")
	for i := range 260_000 {
		items := []string{"GUM;pink", "GUM;pale", "GUM;green", "CRT;1,5", "CRT;2-3", "RR;30", "R15;8", "T;38,4", "T;101", "T;;not asked", "GUM;\"pi"}
		fmt.Fprintf(&b, "C%d;%s;;;;\n", i/4, items[min(r.IntN(14), r.IntN(len(items)))])
	}
	path := write(t, "export-2026-11-01.csv", strings.ReplaceAll(strings.ReplaceAll(b.String(), ";not asked;;;;", ";not asked;;;"), "\"pi;;;;", "\"pi;;;;"))
	var first Result
	var rows, asides []tuple
	for _, workers := range []int{1, 2, 5} {
		res, err := Read(context.Background(), Input{Path: path, Desc: desc, Dict: findings.Default(), Key: testKey(t), Dir: t.TempDir(), FileNo: 1, Workers: workers})
		if err != nil {
			t.Fatal(err)
		}
		staged, aside := readParts(t, res.Parts, "src_row"), readParts(t, res.SetAsideParts, "row")
		if workers == 1 {
			first, rows, asides = res, staged, aside
			if res.Staged < 100_000 || res.SetAside < 10_000 {
				t.Fatalf("%+v", res)
			}
			continue
		}
		if res.ContentHash != first.ContentHash || res.MappingHash != first.MappingHash || res.Rows != first.Rows || !maps.Equal(res.Notes, first.Notes) || !maps.Equal(res.Reasons, first.Reasons) ||
			!slices.Equal(res.Examples, first.Examples) {
			t.Errorf("%d workers: %+v\nwant %+v", workers, res, first)
		}
		equal := func(a, b tuple) bool { return maps.Equal(a, b) }
		if !slices.EqualFunc(rows, staged, equal) || !slices.EqualFunc(asides, aside, equal) {
			t.Errorf("%d workers give other rows", workers)
		}
	}
}

// The hash must not move: stored rows are known again by it.
func TestRowHashIsFixed(t *testing.T) {
	text := "Call;Where;Gums;Refill;Breaths\nC1;home;pink;2;8\n"
	_, a, _ := read(t, wideYAML, text, 1)
	_, b, _ := read(t, strings.Replace(wideYAML, "observer: {value: owner}", "observer: {value: owner}\n  asked_at: {from: X, layout: \"2006-01-02\", optional: true}", 1), text, 2)
	got := []string{}
	for i := range a {
		if a[i]["row_hash"] != b[i]["row_hash"] {
			t.Errorf("a column without values changes the hash")
		}
		got = append(got, a[i]["finding"]+" "+a[i]["row_hash"])
	}
	slices.Sort(got)
	// regression: values of our own, which must stay as they are
	want := []string{"breathing_rate -4518054", "capillary_refill_s -669866345", "gum_colour -1280772683"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// A row set aside never tells what stood in the cell.
func TestCellsAreNotKept(t *testing.T) {
	secret := "MrsExampleOfAnytown"
	r, _, aside := read(t, wideYAML, "Call;Where;Gums;Refill;Breaths\nC1;home;"+secret+";"+secret+";"+secret+"\nC2;"+secret+";pink;1;8\nC3;home;\""+secret+";1;8\n", 1)
	if len(aside) != 5 {
		t.Fatalf("%d rows set aside", len(aside))
	}
	for _, p := range append(r.Parts, r.SetAsideParts...) {
		data, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(data), secret) {
			t.Errorf("%s holds the cell", filepath.Base(p))
		}
	}
	if s := fmt.Sprintf("%+v %v %v", r, r.Examples, aside); strings.Contains(s, secret) {
		t.Error("the result holds the cell")
	}
}

func TestReadErrors(t *testing.T) {
	desc := describe(t, wideYAML)
	good := Input{Path: write(t, "export-2026-11-01.csv", "Call;Where;Gums;Refill\nC1;home;pink;2\n"), Desc: desc, Dict: findings.Default(), Key: testKey(t), Dir: t.TempDir(), Workers: 1}
	in := good
	in.Key = privacy.Key{}
	if _, err := Read(context.Background(), in); !errors.Is(err, privacy.ErrKey) {
		t.Errorf("no key: %v", err)
	}
	in = good
	in.Path = write(t, "export.csv", "Call;Where;Gums;Refill\n")
	if _, err := Read(context.Background(), in); err == nil || !strings.Contains(err.Error(), "a file name that matches") {
		t.Errorf("no date in the name: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Read(ctx, good); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if _, err := Read(context.Background(), good); err != nil {
		t.Fatal(err)
	}
	_, err := Read(context.Background(), good) // the parts are there already
	if !errors.Is(err, os.ErrExist) {
		t.Errorf("part exists: %v", err)
	}
	if left, _ := os.ReadDir(good.Dir); len(left) != 2 { // checks and runs
		t.Errorf("a failed read took or left files: %v", left)
	}
}
