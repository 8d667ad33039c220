package pool

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"time"

	"hindcheck/cmd/report/internal/disclosure"
	"hindcheck/cmd/report/internal/review"
)

// Format is the version of the counts file; it rises when a key changes its
// meaning or goes away.
const Format = 1

// Counts is the counts file of one line.
type Counts struct {
	Format int    `json:"format"`
	Kind   string `json:"kind"`
	// Line is what the line calls itself in a pooled table.
	Line           string    `json:"line"`
	DataCut        time.Time `json:"data_cut"`
	From           string    `json:"from"`
	To             string    `json:"to"`
	Unit           string    `json:"unit"`
	CaseDefinition string    `json:"case_definition"`
	DefinitionText string    `json:"definition_text"`
	RuleSet        string    `json:"ruleset"`
	Confidence     float64   `json:"confidence"`
	// Minimum is the smallest count that is shown; 0 is shown.
	Minimum int64   `json:"minimum"`
	Tables  []Table `json:"tables"`
}

// Kind tells the file from other JSON.
const Kind = "triage_counts"

// Table counts mature episodes of one index test at one cut.
type Table struct {
	// Index is advice, rules or flag; Flag and Title belong to a flag.
	Index string `json:"index"`
	Flag  string `json:"flag,omitempty"`
	Title string `json:"title,omitempty"`
	// Cut is same_day or emergency.
	Cut     string   `json:"cut"`
	Rows    []string `json:"rows"`
	Columns []string `json:"columns"`
	// Cells by row and column; null is hidden.
	Cells [][]*int64 `json:"cells"`
	// Corrected are the figures corrected for who was verified, to four digits;
	// held back where a verified count is hidden.
	Corrected Pair `json:"corrected"`
}

// Pair is sensitivity and specificity.
type Pair struct {
	Sensitivity Share `json:"sensitivity"`
	Specificity Share `json:"specificity"`
}

// Share is a proportion with its limits, or why there is none.
type Share struct {
	Estimate     *float64 `json:"estimate,omitempty"`
	Low          *float64 `json:"low,omitempty"`
	High         *float64 `json:"high,omitempty"`
	NotEstimable string   `json:"not_estimable,omitempty"`
}

//go:embed counts.schema.json
var schemaJSON []byte

// Schema returns the JSON Schema of a counts file.
func Schema() []byte { return append([]byte(nil), schemaJSON...) }

var (
	columnNames = []string{"needed", "not_needed", "not_verified"}
	adviceRows  = []string{"escalated", "not_escalated"}
	flagRows    = []string{"present", "absent", "not_assessed"}
)

// FromReview makes the counts file of a line from its review. Cells from 1 to
// minimum-1 are hidden, with as many others as it takes.
func FromReview(r *review.Review, line string, minimum int64) (*Counts, error) {
	c := &Counts{
		Format: Format, Kind: Kind, Line: line, DataCut: r.AsOf.DataCut, From: r.Period.From, To: r.Period.To, Unit: r.Unit,
		CaseDefinition: r.CaseDefinition, DefinitionText: r.DefinitionText, RuleSet: r.RuleSet, Confidence: r.Standard.Confidence, Minimum: minimum,
	}
	for i := range r.Advice {
		for _, t := range []review.Test{r.Advice[i], r.Rules[i]} {
			cells := [][]int64{
				{t.Verified.TP, t.Verified.FP, t.Unverified.Present},
				{t.Verified.FN, t.Verified.TN, t.Unverified.Absent},
			}
			if err := c.add(Table{Index: t.Index, Cut: t.Cut, Rows: adviceRows, Corrected: pair(t.Corrected)}, cells); err != nil {
				return nil, err
			}
		}
	}
	for _, flags := range r.Flags {
		for _, f := range flags.Flags {
			n := f.Counts
			cells := [][]int64{
				{n.Verified.TP, n.Verified.FP, n.Unverified.Present},
				{n.Verified.FN, n.Verified.TN, n.Unverified.Absent}, {0, 0, 0},
			}
			for _, x := range n.NotAssessed {
				cells[2][0] += x.Needed
				cells[2][1] += x.NotNeeded
				cells[2][2] += x.Unverified
			}
			if err := c.add(Table{Index: "flag", Flag: f.Flag, Title: f.Title, Cut: flags.Cut, Rows: flagRows, Corrected: pair(f.Corrected)}, cells); err != nil {
				return nil, err
			}
		}
	}
	return c, nil
}

// add suppresses a table and adds it. All tables of a line count the same
// episodes, so the sums of columns are shared by all flags and the sums of rows
// by both cuts: they are taken as known even where the file does not show them.
func (c *Counts) add(t Table, cells [][]int64) error {
	hidden, err := disclosure.Suppress(disclosure.CountTable{Cells: cells, RowSums: true, ColumnSums: true}, c.Minimum)
	if err != nil {
		return fmt.Errorf("counts of %s %s: %w", t.Index, t.Flag, err)
	}
	t.Columns = columnNames
	// A rate and the number it is a rate of would give a hidden count away.
	if hidden[0][0] || hidden[0][1] || hidden[1][0] || hidden[1][1] {
		withheld := Share{NotEstimable: "held back, because a count behind it is hidden"}
		t.Corrected = Pair{withheld, withheld}
	}
	for i, row := range cells {
		out := make([]*int64, len(row))
		for j := range row {
			if !hidden[i][j] {
				out[j] = &row[j]
			}
		}
		t.Cells = append(t.Cells, out)
	}
	c.Tables = append(c.Tables, t)
	return nil
}

// ErrTooClose is returned where two counts files of one line could be subtracted.
var ErrTooClose = errors.New("too close to an earlier file")

// Apart refuses counts that somebody could subtract from an earlier file of the
// same line: in each table, a shown cell must differ not at all or by at least
// the minimum from the earlier one, and a cell that was hidden may not be shown
// beside a sum that moved by less.
func (c *Counts) Apart(earlier *Counts) error {
	for _, t := range c.Tables {
		old, ok := earlier.table(key{t.Index, t.Flag, t.Cut})
		if !ok || len(old.Cells) != len(t.Cells) {
			continue
		}
		for i, row := range t.Cells {
			for j, n := range row {
				was := old.Cells[i][j]
				switch {
				case n == nil || was == nil:
					if (n == nil) != (was == nil) {
						return fmt.Errorf("%w: %s %s at the cut %s: a count is hidden in one file and shown in the other; write the later one for a period that has nothing in common with the earlier, or withdraw it", ErrTooClose, t.Index, t.Flag, t.Cut)
					}
				case *n != *was && max(*n-*was, *was-*n) < c.Minimum:
					return fmt.Errorf("%w: %s %s at the cut %s: a count differs by %d, fewer than %d; wait for more episodes, or withdraw the earlier file", ErrTooClose, t.Index, t.Flag, t.Cut, max(*n-*was, *was-*n), c.Minimum)
				}
			}
		}
	}
	return nil
}

func pair(a review.Accuracy) Pair {
	return Pair{share(a.Sensitivity), share(a.Specificity)}
}

// share keeps four digits.
func share(f review.Figure) Share {
	if !f.Estimable() {
		return Share{NotEstimable: f.NotEstimable}
	}
	round := func(p *float64) *float64 {
		if p == nil {
			return nil
		}
		v := math.Round(*p*10_000) / 10_000
		return &v
	}
	return Share{Estimate: round(f.Estimate), Low: round(f.Low), High: round(f.High)}
}

// maxFile bounds a counts file, in bytes.
const maxFile = 64 << 20

// Read reads a counts file. Errors name the file, the table and what to do.
func Read(path string) (*Counts, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxFile+1))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	c, err := Parse(data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w; write it again with report counts", path, err)
	}
	return c, nil
}

// Parse reads the text of a counts file.
func Parse(data []byte) (*Counts, error) {
	if len(data) > maxFile {
		return nil, errors.New("expected a counts file of at most 64 MB, found more")
	}
	var c Counts
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&c); err != nil {
		return nil, fmt.Errorf("expected a counts file in JSON: %w", err)
	}
	if c.Kind != Kind {
		return nil, fmt.Errorf("expected the kind %s, found %.40q", Kind, c.Kind)
	}
	if c.Format != Format {
		return nil, fmt.Errorf("expected format %d, found %d", Format, c.Format)
	}
	if c.Line == "" {
		return nil, errors.New("expected the name of a line, found none")
	}
	if !(c.Confidence > 0 && c.Confidence < 1) {
		return nil, fmt.Errorf("expected a confidence between 0 and 1, found %v", c.Confidence)
	}
	for i, t := range c.Tables {
		if err := t.check(); err != nil {
			return nil, fmt.Errorf("table %d (%s %s): %w", i+1, t.Index, t.Flag, err)
		}
	}
	return &c, nil
}

// check refuses a table that cannot be.
func (t Table) check() error {
	want := flagRows
	switch t.Index {
	case "advice", "rules":
		want = adviceRows
	case "flag":
	default:
		return errors.New("expected the index advice, rules or flag")
	}
	if t.Index == "flag" && t.Flag == "" {
		return errors.New("expected the id of a flag, found none")
	}
	if t.Cut != "same_day" && t.Cut != "emergency" {
		return fmt.Errorf("expected the cut same_day or emergency, found %.40q", t.Cut)
	}
	if len(t.Cells) != len(want) {
		return fmt.Errorf("expected %d rows of cells, found %d", len(want), len(t.Cells))
	}
	for r, row := range t.Cells {
		if len(row) != len(columnNames) {
			return fmt.Errorf("row %d: expected %d cells, found %d", r+1, len(columnNames), len(row))
		}
		for _, n := range row {
			if n != nil && *n < 0 {
				return fmt.Errorf("row %d: a count is negative", r+1)
			}
		}
	}
	for _, s := range []Share{t.Corrected.Sensitivity, t.Corrected.Specificity} {
		if s.Estimate == nil {
			continue
		}
		low, high := 0.0, 1.0
		if s.Low != nil {
			low = *s.Low
		}
		if s.High != nil {
			high = *s.High
		}
		if low < 0 || high > 1 || *s.Estimate < low || *s.Estimate > high {
			return fmt.Errorf("a corrected share of %v lies outside its limits %v to %v", *s.Estimate, low, high)
		}
	}
	return nil
}
