package source

import (
	"crypto/sha256"
	"encoding/hex"
	"path"
	"regexp"
	"strings"
	"time"
	_ "time/tzdata" // zones must not depend on the machine

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/records"
	"hindcheck/pipeline/strict"
	"hindcheck/pipeline/tabular"
)

// Problem is one mistake in a description, with its place and remedy.
type Problem = strict.Problem

// Read reads the description at path. The error holds every mistake found, as
// strict.Problems.
func Read(path string, dict *findings.Dictionary) (*Description, error) {
	data, err := strict.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return Parse(path, data, dict)
}

// reader carries what the parts of a description need of each other.
type reader struct {
	d    *Description
	dict *findings.Dictionary
	top  strict.Map
	zone strict.Node
	// needsZone is set by the first column that holds local times.
	needsZone bool
}

// Parse reads a description from data; file is its name in messages.
func Parse(file string, data []byte, dict *findings.Dictionary) (*Description, error) {
	doc, root := strict.Parse(file, data)
	r := &reader{d: &Description{Path: file}, dict: dict}
	r.top = root.Map("source", "record", "file", "exported_at", "zone", "overlap", "gap", "blanks", "columns", "items", "wide")
	r.head()
	if r.d.Table.Name != "" {
		r.columns()
		if r.d.Table.Name == records.Checks.Name {
			r.checks()
		} else {
			for _, k := range []string{"items", "wide"} {
				r.top.Get(k).Fail("no "+k+" here", k+" of a record that is not checks", "remove it, or set record: checks")
			}
		}
	}
	if r.needsZone && !r.top.Has("zone") {
		r.top.At().Fail("the key zone", "none, though times are written without their offset", "add zone: with a name such as Europe/Berlin")
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	r.d.Format.Columns, _ = r.d.ExportColumns()
	r.d.Hash = hash(data, dict)
	return r.d, nil
}

// hash identifies what decides how cells become records.
func hash(data []byte, dict *findings.Dictionary) string {
	h := sha256.New()
	h.Write(data)
	if dict != nil {
		for i := range dict.Findings {
			f := &dict.Findings[i]
			h.Write([]byte("\x00" + f.ID + "\x01" + f.Unit))
			for _, c := range f.Codes {
				h.Write([]byte("\x02" + c.ID))
			}
			if f.Kind == findings.Number {
				lo, hi := widest(f)
				h.Write([]byte("\x03" + formatNumber(lo) + "\x03" + formatNumber(hi)))
			}
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}

// head reads everything but the columns.
func (r *reader) head() {
	r.d.Source = r.top.Need("source").Text()
	if n := r.top.Need("record"); n.Exists() {
		t, _ := records.Staged(n.Choice("calls", "checks", "outcomes", "coverage"))
		r.d.Table = t
	}
	r.file(r.top.Need("file"))
	r.exportedAt(r.top.Get("exported_at"))
	if n := r.top.Get("zone"); n.Exists() {
		r.zone = n
		name := n.Text()
		if loc, err := time.LoadLocation(name); name != "" && (err != nil || name == "Local") {
			n.Fail("the name of a time zone", strict.Quote(name), "write one such as Europe/Berlin or UTC")
		} else if name != "" {
			r.d.Zone, r.d.ZoneName = loc, name
		}
	}
	r.d.Overlap, r.d.Gap = OverlapAside, GapAside
	if n := r.top.Get("overlap"); n.Exists() {
		r.d.Overlap = Overlap(n.Choice("earlier", "later", "set_aside"))
	}
	if n := r.top.Get("gap"); n.Exists() {
		r.d.Gap = Gap(n.Choice("set_aside", "shift_forward"))
	}
	if n := r.top.Get("blanks"); n.Exists() {
		for _, item := range n.List() {
			if s, ok := item.Literal(); ok {
				if s = strings.TrimSpace(s); s != "" {
					r.d.Blanks = append(r.d.Blanks, s)
				}
			}
		}
	}
}

var kinds = []string{"csv", "tsv", "ndjson", "json", "xlsx", "parquet"}

// file reads how the export is written.
func (r *reader) file(n strict.Node) {
	d, m := r.d, n.Map("kind", "match", "delimiter", "encoding", "decimal", "thousands", "quote", "skip_rows", "sheet", "records")
	f := &d.Format
	f.Kind = m.Need("kind").Choice(kinds...)
	text := f.Kind == "csv" || f.Kind == "tsv"
	if n := m.Get("match"); n.Exists() {
		d.Match = n.Text()
		if _, err := path.Match(d.Match, "x"); err != nil {
			n.Fail("a pattern of file names", strict.Quote(d.Match), "write one such as calls-*.csv")
		}
	}
	for _, k := range []string{"delimiter", "quote", "skip_rows", "encoding", "decimal", "thousands"} {
		if n := m.Get(k); n.Exists() && f.Kind != "" && !text && !(k == "skip_rows" && f.Kind == "xlsx") && !(strings.HasSuffix(f.Kind, "json") && k == "encoding") &&
			!((k == "decimal" || k == "thousands") && f.Kind != "parquet") {
			n.Fail("no "+k+" for kind "+f.Kind, "one", "remove it")
		}
	}
	f.Delimiter = oneByte(m.Get("delimiter"), "a delimiter", "\n\r\x00")
	if f.Delimiter == 0 && f.Kind == "csv" {
		f.Delimiter = ','
	}
	if n := m.Get("quote"); n.Exists() {
		if s, ok := n.Literal(); ok && s == "" {
			f.NoQuote = true
		} else if ok {
			f.Quote = oneByte(n, "a quote", "\n\r\x00")
		}
	}
	if f.Quote != 0 && f.Quote == f.Delimiter {
		m.Get("quote").Fail("a quote that is not the delimiter", "the same character", "correct one of the two")
	}
	if n := m.Get("encoding"); n.Exists() {
		f.Encoding = n.Choice(tabular.Encodings...)
	}
	if n := m.Get("skip_rows"); n.Exists() {
		f.SkipRows = n.Int(0, 10000)
	}
	if n := m.Get("sheet"); n.Exists() {
		f.Sheet = n.Text()
	}
	if n := m.Get("records"); n.Exists() {
		f.Records = n.Text()
	}
	r.signs(m)
}

// signs reads the decimal and the thousands sign.
func (r *reader) signs(m strict.Map) {
	d := r.d
	d.Decimal = '.'
	if n := m.Get("decimal"); n.Exists() {
		if s := n.Choice(".", ","); s != "" {
			d.Decimal = s[0]
		}
	}
	if n := m.Get("thousands"); n.Exists() {
		d.Thousands = oneByte(n, "a thousands sign", "\n\r\x000123456789+-")
		if d.Thousands == d.Decimal {
			n.Fail("a thousands sign that is not the decimal sign", "the same character", "correct one of the two")
		}
	}
}

// oneByte reads a setting that is one ASCII character.
func oneByte(n strict.Node, what, not string) byte {
	if !n.Exists() {
		return 0
	}
	s, ok := n.Literal()
	if !ok {
		return 0
	}
	if len(s) != 1 || s[0] >= 0x80 || strings.Contains(not, s) {
		n.Fail(what+" of one character", strict.Quote(s), `write it in quotes, such as ";" or "\t"`)
		return 0
	}
	return s[0]
}

// exportedAt reads where the time of the export stands.
func (r *reader) exportedAt(n strict.Node) {
	if !n.Exists() {
		return
	}
	m := n.Map("file_name", "column", "layout")
	e := &r.d.Exported
	if f := m.Get("file_name"); f.Exists() {
		text := f.Text()
		re, err := regexp.Compile(text)
		if text != "" && (err != nil || re.NumSubexp() != 1) {
			f.Fail("a regular expression with one group, the date", strict.Quote(text), `write one such as '(\d{4}-\d{2}-\d{2})'`)
		} else if text != "" {
			e.FileName = re
		}
	}
	if c := m.Get("column"); c.Exists() {
		if m.Has("file_name") {
			c.Fail("either file_name or column", "both", "keep the one that states when the export was made")
		}
		e.Column = c.Text()
	}
	if !m.Has("file_name") && !m.Has("column") {
		m.At().Fail("file_name or column", "neither", "say where the time of the export stands, or remove exported_at and give it with the command")
	}
	e.Layout = r.layout(m.Need("layout"))
}

// layout reads a layout and remembers whether a zone is needed.
func (r *reader) layout(n strict.Node) Layout {
	text := n.Text()
	if text == "" {
		return Layout{}
	}
	l, err := ParseLayout(text)
	if err != nil {
		n.Fail("a layout such as 02.01.2006 15:04", strict.Quote(text), err.Error())
		return Layout{}
	}
	r.needsZone = r.needsZone || !l.Zoned()
	return l
}

// Quote shows a name in a message, shortened.
func Quote(name string) string { return strict.Quote(name) }
