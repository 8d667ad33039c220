package derive

import (
	"bytes"
	"context"

	"github.com/apache/arrow-go/v18/parquet/file"

	"hindcheck/pipeline/lanes"
)

// record is one row of the calls table, with what a case needs of it.
type record struct {
	call, contact, episode lanes.Key
	hasContact, clinical   bool
	startedAt              int64 // microseconds since 1970, UTC
	level, ruleLevel       int8
	ruleset, hurt          int32
	safetyNet              int8
	seconds                int64
	hasSeconds, again      bool // again: the contact is a re-contact
	zone                   int32
	// from and its row in the batch are for what only an opening needs.
	from *callRows
	row  int
}

// calls reads the calls of a month in their order. In the file those that are their
// own episode stand in row groups of their own (see package resolve), and only
// these and the others by themselves are in order.
type calls struct {
	stretches []*callRows
}

// openCalls opens a file of calls, of which the row groups in which the columns
// episode and call share their pages are read beside the others.
func openCalls(path string, all *lanes.Vocabulary) (*calls, error) {
	c := new(calls)
	for _, own := range []bool{true, false} {
		rows, err := openStretch(path, all, own)
		if err != nil {
			c.close()
			return nil, err
		}
		c.stretches = append(c.stretches, rows)
	}
	return c, nil
}

// rows is how many calls the file holds.
func (c *calls) rows() int64 { return c.stretches[0].r.Rows() }

// next fills rec with the next record; it reports false at the end. What the one
// before needs of its batch is gone then.
func (c *calls) next(ctx context.Context, rec *record) (more bool, err error) {
	var first *callRows
	for _, s := range c.stretches {
		more, err := s.ready(ctx)
		if err != nil {
			return false, err
		}
		if more && (first == nil || s.before(first)) {
			first = s
		}
	}
	if first == nil {
		return false, nil
	}
	first.take(rec)
	return true, nil
}

func (c *calls) close() {
	for _, s := range c.stretches {
		s.r.Close()
	}
}

// callRows reads one stretch of the calls.
type callRows struct {
	r    *lanes.Reader
	n, i int

	call, contact, animal, owner, advisor, episode *lanes.Lane[lanes.Key]
	site, contactType, contactKind, zone           lanes.Words
	species, breed, sex, neutered, complaint       lanes.Words
	level, ruleLevel, ruleset, hurt                lanes.Words
	startedAt                                      *lanes.Lane[int64]
	ageMonths, seconds                             *lanes.Lane[int32]
	safetyNet                                      *lanes.Lane[int8]
}

var levelOf = lanes.Closed("", "home_care", "soon", "same_day", "emergency")

func openStretch(path string, all *lanes.Vocabulary, own bool) (*callRows, error) {
	r, err := lanes.Open(path)
	if err != nil {
		return nil, err
	}
	r.Groups(func(f *file.Reader, g int) bool { return sharePages(f, g, "call", "episode") == own })
	c := &callRows{r: r}
	c.call, c.contact, c.episode = lanes.Keys(r, "call"), lanes.Keys(r, "contact"), lanes.Keys(r, "episode")
	c.animal, c.owner, c.advisor = lanes.Keys(r, "animal"), lanes.Keys(r, "owner"), lanes.Keys(r, "advisor")
	c.contactType, c.contactKind = lanes.ReadWords(r, "contact_type", lanes.Closed("clinical")), lanes.ReadWords(r, "contact_kind", lanes.Closed("re_contact"))
	c.level, c.ruleLevel = lanes.ReadWords(r, "level", levelOf), lanes.ReadWords(r, "rule_level", levelOf)
	for _, w := range []struct {
		into *lanes.Words
		name string
	}{{&c.site, "site"}, {&c.zone, "zone"}, {&c.species, "species"}, {&c.breed, "breed_group"}, {&c.sex, "sex"}, {&c.neutered, "neutered"},
		{&c.complaint, "complaint"}, {&c.ruleset, "ruleset"}, {&c.hurt, "person_hurt"}} {
		*w.into = lanes.ReadWords(r, w.name, all.Number)
	}
	c.startedAt, c.safetyNet = lanes.Times(r, "started_at"), lanes.Tris(r, "safety_net")
	c.ageMonths, c.seconds = lanes.Whole(r, "age_months"), lanes.Whole(r, "call_seconds")
	return c, nil
}

// ready reads the next batch when the present one is used up; it reports false at
// the end.
func (c *callRows) ready(ctx context.Context) (more bool, err error) {
	if c.i == c.n {
		c.n, err = c.r.Next(ctx)
		c.i = 0
	}
	return c.n > 0, err
}

// before reports whether the next call comes before that of another stretch.
func (c *callRows) before(o *callRows) bool {
	a, b := c.startedAt.Values[c.i], o.startedAt.Values[o.i]
	return a < b || a == b && bytes.Compare(c.call.Values[c.i][:], o.call.Values[o.i][:]) < 0
}

// take fills rec with the next call.
func (c *callRows) take(rec *record) {
	i := c.i
	c.i++
	rec.from, rec.row = c, i
	rec.call = c.call.Values[i]
	rec.contact, rec.hasContact = c.contact.Values[i], c.contact.Valid[i]
	rec.episode = c.episode.Values[i]
	rec.clinical = c.episode.Valid[i] && c.contactType.At(i) == 0
	rec.startedAt = c.startedAt.Values[i]
	rec.level, rec.ruleLevel = int8(max(c.level.At(i), 0)), int8(max(c.ruleLevel.At(i), 0))
	rec.ruleset, rec.hurt, rec.zone = c.ruleset.At(i), c.hurt.At(i), c.zone.At(i)
	rec.safetyNet = lanes.Tri(c.safetyNet, i)
	rec.seconds, rec.hasSeconds = int64(c.seconds.Values[i]), c.seconds.Valid[i]
	rec.again = c.contactKind.At(i) == 0
}

// sharePages reports whether two columns of a row group stand on one set of pages.
func sharePages(f *file.Reader, group int, a, b string) bool {
	m := f.MetaData()
	i, j := m.Schema.ColumnIndexByName(a), m.Schema.ColumnIndexByName(b)
	columns := m.RowGroups[group].Columns
	return i >= 0 && j >= 0 && columns[i].MetaData.DataPageOffset == columns[j].MetaData.DataPageOffset
}
