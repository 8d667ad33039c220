package derive

import (
	"fmt"

	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/compress"
	"github.com/apache/arrow-go/v18/parquet/metadata"
	"github.com/apache/arrow-go/v18/parquet/schema"

	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/lanes"
	"hindcheck/pipeline/pagefile"
)

// rowGroup is the number of rows of one row group, as DuckDB writes them.
const rowGroup = 122_880

// sheet collects rows of cases, column by column, in the order of the stored
// columns.
type sheet struct {
	n       int
	columns []*column

	episode, animal, owner, advisor                       *column
	site, practice, species, breed, sex, neutered         *column
	age, complaint, startedAt, month, localHour, weekday  *column
	ruleset, recordedLevel, level, later, contacts, again *column
	ruleLow, ruleLevel, ruleHigh                          *column
	fired, unknown                                        []*column
	handling, hurt, safetyNet, seconds                    *column
	// outcome are the columns of a case definition but the practice, in order.
	outcome  []*column
	findings []*column
}

// newSheet makes the columns for a dictionary and rules of so many words of flags.
func newSheet(d *findings.Dictionary, words int) *sheet {
	s := &sheet{}
	add := func(name string, k kind) *column {
		c := &column{name: name, kind: k}
		s.columns = append(s.columns, c)
		return c
	}
	s.episode = add("episode", keyKind)
	add("call", keyKind).twin = 1 // an episode is named after the call that opened it
	s.animal, s.owner, s.advisor = add("animal", keyKind), add("owner", keyKind), add("advisor", keyKind)
	s.site, s.practice, s.species, s.breed = add("site", wordKind), add("practice", wordKind), add("species", wordKind), add("breed_group", wordKind)
	s.sex, s.neutered, s.age = add("sex", wordKind), add("neutered", wordKind), add("age_months", wholeKind)
	s.complaint, s.startedAt, s.month = add("complaint", wordKind), add("started_at", timeKind), add("month", wholeKind)
	s.localHour, s.weekday, s.ruleset = add("local_hour", tinyKind), add("weekday", tinyKind), add("ruleset", wordKind)
	s.recordedLevel, s.level, s.later = add("recorded_rule_level", tinyKind), add("level", tinyKind), add("later_level", tinyKind)
	s.contacts, s.again = add("contacts", smallKind), add("recontact_24h", boolKind)
	s.ruleLow, s.ruleLevel, s.ruleHigh = add("rule_low", tinyKind), add("rule_level", tinyKind), add("rule_high", tinyKind)
	for w := range words {
		s.fired = append(s.fired, add(fmt.Sprintf("fired_%d", w), bitsKind))
		s.unknown = append(s.unknown, add(fmt.Sprintf("unknown_%d", w), bitsKind))
	}
	s.handling, s.hurt, s.safetyNet, s.seconds = add("handling", wordKind), add("person_hurt", wordKind), add("safety_net", boolKind), add("call_seconds", wholeKind)
	for _, c := range casedef.Columns() {
		if c.Name != "practice" {
			s.outcome = append(s.outcome, add(c.Name, kindOf(c.Type)))
		}
	}
	for i := range d.Findings {
		s.findings = append(s.findings, add(d.Findings[i].Column(), kindOf(d.Findings[i].SQLType())))
	}
	return s
}

// room makes room for the rows of a row group of a month with so many calls.
func (s *sheet) room(calls int64) {
	for _, c := range s.columns {
		if c.twin == 0 {
			c.room(int(min(calls, rowGroup)))
		}
	}
}

func (s *sheet) reset() {
	s.n = 0
	for _, c := range s.columns {
		c.reset()
	}
}

// schema is the Parquet schema of the sheet.
func (s *sheet) schema() (*schema.Schema, error) {
	fields := make(schema.FieldList, len(s.columns))
	for i, c := range s.columns {
		var err error
		if fields[i], err = c.kind.node(c.name); err != nil {
			return nil, err
		}
	}
	root, err := schema.NewGroupNode("cases", parquet.Repetitions.Required, fields, -1)
	if err != nil {
		return nil, err
	}
	return schema.NewSchema(root), nil
}

// properties are how the sheet is written: zstd, but pseudonyms as they are, since
// they do not pack. The next level takes 2 in 1,000 bytes less and longer.
func (s *sheet) properties() *parquet.WriterProperties {
	props := []parquet.WriterProperty{
		parquet.WithVersion(parquet.V2_LATEST),
		parquet.WithCompression(compress.Codecs.Zstd),
		parquet.WithCompressionLevel(3),
		parquet.WithDictionaryDefault(true),
		parquet.WithCreatedBy("hindcheck"),
	}
	for _, c := range s.columns {
		switch c.kind {
		case keyKind:
			props = append(props, parquet.WithDictionaryFor(c.name, false))
			if c != s.advisor {
				props = append(props, parquet.WithCompressionFor(c.name, compress.Codecs.Uncompressed))
			}
		case timeKind:
			props = append(props, parquet.WithDictionaryFor(c.name, false), parquet.WithEncodingFor(c.name, parquet.Encodings.DeltaBinaryPacked))
		case boolKind:
			props = append(props, parquet.WithDictionaryFor(c.name, false))
		}
	}
	return parquet.NewWriterProperties(props...)
}

// write appends the rows to a file as a row group and forgets them.
func (s *sheet) write(f *pagefile.File, p *press, words *lanes.Vocabulary) error {
	if s.n == 0 {
		return nil
	}
	var first metadata.EncodedStatistics
	err := f.RowGroup(s.n, len(s.columns), func(i int) pagefile.Page {
		if twin := s.columns[i].twin; twin > 0 {
			return pagefile.Page{Twin: twin, Stats: &first}
		}
		page := p.encode(s.columns[i], s.n, words)
		if i == 0 {
			first = *page.Stats
		}
		return page
	})
	s.reset()
	return err
}
