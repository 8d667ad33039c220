package demo

import (
	"context"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/intake"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/source"
)

// read sends every file of a folder through the reader with the description
// of the given name and adds up what became of the rows.
func read(t *testing.T, dir, description string) (sum intake.Result) {
	t.Helper()
	dict := findings.Default()
	data, err := fs.ReadFile(Sources(), description)
	if err != nil {
		t.Fatal(err)
	}
	desc, err := source.Parse(description, data, dict)
	if err != nil {
		t.Fatal(err)
	}
	key, err := privacy.NewKey([]byte("a key for this test alone 123456"))
	if err != nil {
		t.Fatal(err)
	}
	names, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	sum.Reasons, sum.Notes = map[string]int64{}, map[string]int64{}
	for i, n := range names {
		if ok, _ := path.Match(desc.Match, n.Name()); !ok {
			continue
		}
		r, err := intake.Read(context.Background(), intake.Input{Path: filepath.Join(dir, n.Name()), Desc: desc, Dict: dict, Key: key,
			Dir: t.TempDir(), FileNo: int32(i), Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(n.Name(), "_exported-"+r.ExportedAt.Add(12e12).Format("2006-01-02")) {
			t.Errorf("%s: exported at %v", n.Name(), r.ExportedAt)
		}
		sum.SourceRows += r.SourceRows
		sum.Rows += r.Rows
		sum.Staged += r.Staged
		sum.SetAside += r.SetAside
		for k, v := range r.Reasons {
			sum.Reasons[k] += v
		}
		for k, v := range r.Notes {
			sum.Notes[k] += v
		}
		for _, x := range r.Examples {
			if len(sum.Examples) < 40 {
				sum.Examples = append(sum.Examples, x)
			}
		}
	}
	return sum
}

// Every good row is staged, and exactly the planted ones are set aside.
func TestReaderTakesTheExports(t *testing.T) {
	dir := t.TempDir()
	s, err := Generate(context.Background(), Options{Seed: 4, Calls: 24000, Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		file           string
		rows, setAside int64
	}{
		{"calls.yaml", s.CallRows, s.Broken.Calls()},
		{"checks.yaml", s.CheckRows, s.Broken.Checks()},
		{"outcomes.yaml", s.OutcomeRows, s.Broken.Outcomes()},
		{"coverage.yaml", s.DeliveryRows, 0},
	} {
		r := read(t, dir, c.file)
		t.Logf("%s: %d rows, reasons %v, notes %v", c.file, r.Rows, r.Reasons, r.Notes)
		if r.Rows != c.rows || r.SetAside != c.setAside {
			t.Errorf("%s: read %d rows and set %d aside (%v), want %d and %d; examples %+v", c.file, r.Rows, r.SetAside, r.Reasons, c.rows,
				c.setAside, r.Examples)
		}
	}
	r := read(t, dir, "vet_readings.yaml")
	t.Logf("vet readings: %d rows, reasons %v, notes %v", r.Rows, r.Reasons, r.Notes)
	// Repeated and corrected rows bring their readings twice.
	if r.Staged < s.VetReadings || r.Staged > s.VetReadings+4*(2*s.DuplicateOutcomeRows+s.CorrectedOutcomes) {
		t.Errorf("vet readings: %d staged, want %d", r.Staged, s.VetReadings)
	}
}
