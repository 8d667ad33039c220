package inspect

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"hindcheck/pipeline/records"
)

// Gap stands in a draft wherever a person has to fill something in. A
// description that still has one is refused.
const Gap = `"???"`

// ErrNoDraft is wrapped where no draft can be made.
var ErrNoDraft = errors.New("no draft")

// Draft writes the first version of a source description for records of a kind
// (calls, checks, outcomes, coverage). It is valid YAML with remarks; every Gap
// is to be filled in, every proposal to be confirmed.
func Draft(rep *Report, record string) ([]byte, error) {
	table, ok := records.Staged(record)
	if !ok {
		return nil, fmt.Errorf("%w: record kind %q: expected calls, checks, outcomes or coverage", ErrNoDraft, record)
	}
	if rep.HeaderDoubt != "" {
		return nil, fmt.Errorf("%w: %s: %s", ErrNoDraft, rep.File, rep.HeaderDoubt)
	}
	d := &draft{rep: rep, table: table, used: map[string]bool{}}
	d.head()
	d.columns()
	if record == records.Checks.Name {
		d.items()
	}
	d.rest()
	return []byte(d.b.String()), nil
}

type draft struct {
	rep   *Report
	table records.Table
	used  map[string]bool
	b     strings.Builder
}

func (d *draft) line(format string, args ...any) { fmt.Fprintf(&d.b, format+"\n", args...) }

func (d *draft) head() {
	d.line("# A draft, proposed from the bytes of one export. Replace every %s, confirm every", Gap)
	d.line("# proposal, and try it with: ingest load --dry-run")
	d.line("source: %s  # a name for this feed", Gap)
	d.line("record: %s", d.table.Name)
	d.line("%s", d.file())
	if at := exportedAt(d.rep.File); at != "" {
		d.line("exported_at: %s  # confirm that this is the day on which the export was made", at)
	} else {
		d.line("# The file's name holds no date: say here in which column it stands, or give --exported-at.")
		d.line("# exported_at: {column: ..., layout: ...}")
	}
	d.line("zone: %s  # of times without their offset, such as Europe/Berlin", Gap)
	d.line("overlap: set_aside  # the hour that is repeated when daylight saving ends: earlier, later or set_aside")
	d.line("gap: set_aside  # the hour that daylight saving skips: set_aside or shift_forward")
	if words := d.blanks(); len(words) > 0 {
		d.line("blanks: [%s]  # confirm that these stand for nothing", strings.Join(words, ", "))
	}
}

func (d *draft) file() string {
	p := d.rep.Proposal
	parts := []string{"kind: " + p.Kind, "match: " + strconv.Quote(pattern(d.rep.File))}
	if p.Delimiter != "" {
		parts = append(parts, "delimiter: "+strconv.Quote(p.Delimiter))
	}
	if p.Encoding != "" {
		parts = append(parts, "encoding: "+p.Encoding)
	}
	if p.Decimal != "" {
		parts = append(parts, "decimal: "+strconv.Quote(p.Decimal))
	}
	if p.SkipRows > 0 {
		parts = append(parts, fmt.Sprintf("skip_rows: %d", p.SkipRows))
	}
	if p.Records != "" {
		parts = append(parts, "records: "+strconv.Quote(p.Records))
	}
	return "file: {" + strings.Join(parts, ", ") + "}  # confirm"
}

// pattern is the file's name with all between its first and last digit open.
func pattern(name string) string {
	stem, ext := name, ""
	if i := strings.IndexByte(name, '.'); i > 0 {
		stem, ext = name[:i], name[i:]
	}
	first, last := strings.IndexAny(stem, "0123456789"), strings.LastIndexAny(stem, "0123456789")
	if first < 0 {
		return name
	}
	return stem[:first] + "*" + stem[last+1:] + ext
}

var fileDays = []struct {
	find         *regexp.Regexp
	group, style string
}{
	{regexp.MustCompile(`[^0-9]?20\d\d-\d\d-\d\d`), `(\d{4}-\d{2}-\d{2})`, "2006-01-02"},
	{regexp.MustCompile(`[^0-9]?20\d\d[01]\d[0-3]\d`), `(\d{8})`, "20060102"},
}

// exportedAt proposes where the name of a file states its day: the last one.
func exportedAt(name string) string {
	for _, f := range fileDays {
		at := f.find.FindAllStringIndex(name, -1)
		if len(at) == 0 {
			continue
		}
		start := at[len(at)-1][0]
		before := start
		if c := name[start]; c < '0' || c > '9' {
			before++
		}
		for start > 0 && (name[start-1] < '0' || name[start-1] > '9') {
			start--
		}
		return fmt.Sprintf("{file_name: '%s%s', layout: %q}", strings.ReplaceAll(regexp.QuoteMeta(name[start:before]), "'", "''"), f.group, f.style)
	}
	return ""
}

func (d *draft) blanks() (words []string) {
	for _, c := range d.rep.Columns {
		for w := range c.BlankWords {
			if q := strconv.Quote(w); !slices.Contains(words, q) {
				words = append(words, q)
			}
		}
	}
	slices.Sort(words)
	return words
}

// columns writes a mapping for every column that must be filled or whose name
// fits one of the export; the others as remarks.
func (d *draft) columns() {
	d.line("columns:")
	for _, t := range d.table.Columns {
		if t.Written || d.table.Name == records.Checks.Name && slices.Contains([]string{"finding", "seq", "state"}, t.Name) {
			continue
		}
		c, ok := d.namesake(t.Name)
		switch {
		case ok:
			d.used[c.Name] = true
			d.mapping(t, c)
		case t.Required:
			d.line("  %s: %s  # must be filled: %s%s", t.Name, d.open(t), purpose(t), d.candidates(t))
		default:
			d.line("  # %s: %s  # %s", t.Name, strings.ReplaceAll(d.open(t), Gap, "..."), purpose(t))
		}
	}
}

// namesake finds the export column whose name says the same as a record column's.
func (d *draft) namesake(target string) (Column, bool) {
	want := plainName(target)
	for _, c := range d.rep.Columns {
		if c.Name != "" && c.Kind != Prose && !d.used[c.Name] && plainName(c.Name) == want {
			return c, true
		}
	}
	return Column{}, false
}

// plainName leaves out what only says how a value is written.
func plainName(name string) string {
	words := slices.DeleteFunc(nameWords(name), func(w string) bool {
		return slices.Contains([]string{"at", "key", "no", "id", "kg", "months", "s", "date", "time"}, w)
	})
	return strings.Join(words, " ")
}

// open is a mapping in which all is open.
func (d *draft) open(t records.Column) string {
	from := "{from: " + Gap
	switch {
	case t.Kind == records.UUID:
		return from + ", key: " + t.Space + "}"
	case t.Kind == records.Time || t.Kind == records.Date:
		return from + ", layout: " + Gap + "}"
	case t.Words.Name() != "" || t.Identifier || t.Kind == records.Boolean:
		return from + ", values: {" + Gap + ": " + Gap + "}}"
	case t.Unit != "":
		return from + ", unit: " + Gap + "}"
	}
	return from + "}"
}

// purpose says what may stand in a record column.
func purpose(t records.Column) string {
	switch {
	case t.Words.Name() != "":
		return "words " + t.Words.String()
	case t.Identifier:
		return "words such as dog"
	case t.Kind == records.Boolean:
		return "true or false"
	case t.Unit != "":
		return "number, kept in " + t.Unit
	}
	return t.Kind.String()
}

// maxCandidates bounds the columns that a remark names.
const maxCandidates = 6

// candidates names the columns of the export of a fitting kind.
func (d *draft) candidates(t records.Column) string {
	var fit []Kind
	switch {
	case t.Kind == records.UUID:
		fit = []Kind{Key}
	case t.Kind == records.Time || t.Kind == records.Date:
		fit = []Kind{Date}
	case t.Words.Name() != "" || t.Identifier:
		fit = []Kind{Word}
	}
	var names []string
	for _, c := range d.rep.Columns {
		if slices.Contains(fit, c.Kind) && c.Name != "" {
			names = append(names, strconv.Quote(c.Name))
		}
	}
	if len(names) == 0 {
		return ""
	}
	if more := len(names) - maxCandidates; more > 0 {
		return fmt.Sprintf("; perhaps %s or one of %d more", strings.Join(names[:maxCandidates], ", "), more)
	}
	return "; perhaps " + strings.Join(names, ", ")
}

// mapping writes a proposal from the column's name.
func (d *draft) mapping(t records.Column, c Column) {
	const remark = "proposed from its name, confirm"
	from := "from: " + strconv.Quote(c.Name)
	switch {
	case t.Kind == records.UUID:
		note := ""
		if repeats := c.Filled - c.Distinct; t.Name+"s" == d.table.Name && repeats > 0 {
			note = fmt.Sprintf("; about %d of its values stand there more than once: is a second column part of the key?", repeats)
		}
		d.line("  %s: {%s, key: %s}  # %s%s", t.Name, from, t.Space, remark, note)
	case t.Kind == records.Time || t.Kind == records.Date:
		layout, note := Gap, ""
		if len(c.Layouts) == 1 {
			layout = strconv.Quote(c.Layouts[0].Layout)
		} else if len(c.Layouts) > 1 {
			note = "; " + c.layoutText()
		}
		d.line("  %s: {%s, layout: %s}  # %s%s", t.Name, from, layout, remark, note)
	case t.Words.Name() != "" || t.Identifier || t.Kind == records.Boolean:
		d.words(t, c, from, remark)
	case t.Unit != "":
		unit := Gap
		if len(c.Units) == 1 {
			unit = c.Units[0]
		}
		d.line("  %s: {%s, unit: %s}  # %s; kept in %s", t.Name, from, unit, remark, t.Unit)
	default:
		d.line("  %s: {%s}  # %s", t.Name, from, remark)
	}
}

// words writes a table from the export's words to the record's.
func (d *draft) words(t records.Column, c Column, from, remark string) {
	d.line("  %s:  # %s; %s", t.Name, remark, purpose(t))
	d.line("    %s", from)
	d.line("    values:")
	for _, v := range c.Values {
		to := Gap
		if t.Words.Name() != "" && t.Words.Has(v.Word) || t.Kind == records.Boolean && (v.Word == "true" || v.Word == "false") {
			to = v.Word
		}
		d.line("      %s: %s", strconv.Quote(v.Word), to)
	}
	if len(c.Values) == 0 || c.Withheld > 0 {
		d.line("      %s: %s  # %d words are not shown here; look at the export", Gap, Gap, c.Withheld)
	}
}

// itemNames are names of the column that says which check a row is about.
var itemNames = []string{"item", "check", "finding", "question", "sign", "test"}

func (d *draft) items() {
	d.line("  # A row a check: which check it is, and its answer. For an export with a column a check,")
	d.line("  # remove finding, reading and items, and write wide: {column: {finding: ..., words or unit: ...}}.")
	i := slices.IndexFunc(d.rep.Columns, func(c Column) bool {
		return c.Kind == Word && slices.Contains(itemNames, strings.Join(nameWords(c.Name), " "))
	})
	if i < 0 {
		d.line("  finding: {from: %s}", Gap)
		d.line("  reading: {from: %s}", Gap)
		d.line("items:")
		d.line("  %s: {finding: %s}  # with words: {their word: our code} or unit:", Gap, Gap)
		return
	}
	c := d.rep.Columns[i]
	d.used[c.Name] = true
	d.line("  finding: {from: %s}  # proposed from its name, confirm", strconv.Quote(c.Name))
	d.line("  reading: {from: %s}", Gap)
	d.line("items:  # each with words: {their word: our code} or unit:")
	for _, v := range c.Values {
		d.line("  %s: {finding: %s}", strconv.Quote(v.Word), Gap)
	}
	if len(c.Values) == 0 || c.Withheld > 0 {
		d.line("  %s: {finding: %s}  # %d words are not shown here; look at the export", Gap, Gap, c.Withheld)
	}
}

// rest describes the columns of the export that the draft does not use.
func (d *draft) rest() {
	first := true
	for _, c := range d.rep.Columns {
		if d.used[c.Name] || c.Name == "" {
			continue
		}
		if first {
			d.line("# Columns of the export that this draft does not use:")
			first = false
		}
		d.line("#   %s: %s", strconv.Quote(c.Name), c.Summary())
		if w := c.Warning(); w != "" {
			d.line("#     %s", w)
		}
	}
}
