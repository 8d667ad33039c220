package intake

import (
	"context"
	"os"
	"path/filepath"
	"testing"

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

const callsYAML = `
source: demo-calls
record: calls
file: {kind: csv, delimiter: ";", decimal: ","}
exported_at: {file_name: '(\d{4}-\d{2}-\d{2})', layout: "2006-01-02"}
zone: Europe/Berlin
overlap: earlier
blanks: ["", "-", "n/a"]
columns:
  call: {from: Call no, key: call}
  contact: {first_of: [Transferred from, Call no], key: contact}
  animal: {from: Animal no, key: animal}
  contact_type: {value: clinical}
  started_at: {from: Started, layout: "02.01.2006 15:04"}
  ended_at: {from: Ended, layout: "02.01.2006 15:04", optional: true}
  species: {from: Animal, values: {Dog: dog, Cat: cat}}
  weight_kg: {from: Weight, unit: kg}
  age_months: {from: Age, unit: years}
  level: {from: Advice, values: {now: emergency, today: same_day, home: home_care}}
  safety_net: {from: Told, values: {y: true, n: false}}
`

const callsCSV = `Call no;Transferred from;Animal no;Started;Animal;Weight;Age;Advice;Told
C1;;A1;24.10.2026 10:00;Dog;12,5;2;now;y
C2;C1;A2;24.10.2026 11:30;cat ;4,1 kg;0,5;home;n
C3;;A3;25.10.2026 02:30;Fish;1;1;home;n
;;A3;25.10.2026 02:30;Dog;1;1;home;n
C5;;-;25.10.2026 02:30;Dog;999999;1;home;n
C6;;-;25.10.2026 02:30;Dog;;1;home;-
`

func TestSmoke(t *testing.T) {
	path := write(t, "calls-2026-11-01.csv", callsCSV)
	dir := t.TempDir()
	r, err := Read(context.Background(), Input{Path: path, Desc: describe(t, callsYAML), Dict: findings.Default(), Key: testKey(t), Dir: dir, FileNo: 1, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", r)
	for _, f := range r.Examples {
		t.Log(f)
	}
	if r.Rows != 6 || r.Staged != 3 {
		t.Errorf("rows %d staged %d", r.Rows, r.Staged)
	}
}

const checksYAML = `
source: demo-checks
record: checks
file: {kind: csv, delimiter: ","}
exported_at: {file_name: '(\d{4}-\d{2}-\d{2})', layout: "2006-01-02"}
zone: Europe/Berlin
columns:
  call: {from: Call, key: call}
  finding: {from: Item}
  reading: {from: Answer}
  state: {from: State, values: {done: done, no: not_asked, nope: not_possible}}
items:
  GUM: {finding: gum_colour, words: {pink: pink, "white/grey": grey}}
  CRT: {finding: capillary_refill_s, unit: s}
  RR: {finding: breathing_rate, unit: /15s}
  RC: {finding: breathing_rate, unit: count, window_from: Window}
  T: {finding: temperature_c, unit: degC, also: {unit: degF, between: [77, 113]}}
`

const checksCSV = `Call,Item,Answer,State,Window
C1,GUM,pink,done,
C1,CRT,1.5,done,
C1,RR,6,done,
C1,RC,10,done,30
C1,T,101.3,done,
C1,T,,nope,
C2,GUM,green,done,
C2,CRT,2-3,done,
C2,CRT,,done,
C2,CRT,2,no,
C2,XX,2,no,
C2,T,60,done,
C2,GUM,white/Grey,,
C2,GUM,,,
`

func TestSmokeChecks(t *testing.T) {
	path := write(t, "checks-2026-11-01.csv", checksCSV)
	r, err := Read(context.Background(), Input{Path: path, Desc: describe(t, checksYAML), Dict: findings.Default(), Key: testKey(t), Dir: t.TempDir(), FileNo: 2, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range r.Examples {
		t.Log(f)
	}
	if r.Rows != 14 || r.Staged != 8 {
		t.Errorf("%+v", r)
	}
}
