package derive

import (
	"bytes"
	"context"
	"slices"

	"github.com/apache/arrow-go/v18/parquet/file"
)

// record is one row of the calls table, with what a case needs of it.
type record struct {
	call, contact, episode key
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
func openCalls(path string, all *vocabulary) (*calls, error) {
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
func (c *calls) rows() int64 { return c.stretches[0].r.file.NumRows() }

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
		s.r.close()
	}
}

// callRows reads one stretch of the calls.
type callRows struct {
	r    *reader
	n, i int

	call, contact, animal, owner, advisor, episode *lane[key]
	site, contactType, contactKind, zone           words
	species, breed, sex, neutered, complaint       words
	level, ruleLevel, ruleset, hurt                words
	startedAt                                      *lane[int64]
	ageMonths, seconds                             *lane[int32]
	safetyNet                                      *lane[int8]
}

var levelOf = closed("", "home_care", "soon", "same_day", "emergency")

func openStretch(path string, all *vocabulary, own bool) (*callRows, error) {
	r, err := openRows(path)
	if err != nil {
		return nil, err
	}
	r.groups = slices.DeleteFunc(r.groups, func(g int) bool { return sharePages(r.file, g, "call", "episode") != own })
	c := &callRows{r: r}
	c.call, c.contact, c.episode = keyLane(r, "call"), keyLane(r, "contact"), keyLane(r, "episode")
	c.animal, c.owner, c.advisor = keyLane(r, "animal"), keyLane(r, "owner"), keyLane(r, "advisor")
	c.contactType, c.contactKind = wordLane(r, "contact_type", closed("clinical")), wordLane(r, "contact_kind", closed("re_contact"))
	c.level, c.ruleLevel = wordLane(r, "level", levelOf), wordLane(r, "rule_level", levelOf)
	for _, w := range []struct {
		into *words
		name string
	}{{&c.site, "site"}, {&c.zone, "zone"}, {&c.species, "species"}, {&c.breed, "breed_group"}, {&c.sex, "sex"}, {&c.neutered, "neutered"},
		{&c.complaint, "complaint"}, {&c.ruleset, "ruleset"}, {&c.hurt, "person_hurt"}} {
		*w.into = wordLane(r, w.name, all.number)
	}
	c.startedAt, c.safetyNet = timeLane(r, "started_at"), triLane(r, "safety_net")
	c.ageMonths, c.seconds = wholeLane(r, "age_months"), wholeLane(r, "call_seconds")
	return c, nil
}

// ready reads the next batch when the present one is used up; it reports false at
// the end.
func (c *callRows) ready(ctx context.Context) (more bool, err error) {
	if c.i == c.n {
		c.n, err = c.r.next(ctx)
		c.i = 0
	}
	return c.n > 0, err
}

// before reports whether the next call comes before that of another stretch.
func (c *callRows) before(o *callRows) bool {
	a, b := c.startedAt.values[c.i], o.startedAt.values[o.i]
	return a < b || a == b && bytes.Compare(c.call.values[c.i][:], o.call.values[o.i][:]) < 0
}

// take fills rec with the next call.
func (c *callRows) take(rec *record) {
	i := c.i
	c.i++
	rec.from, rec.row = c, i
	rec.call = c.call.values[i]
	rec.contact, rec.hasContact = c.contact.values[i], c.contact.valid[i]
	rec.episode = c.episode.values[i]
	rec.clinical = c.episode.valid[i] && c.contactType.at(i) == 0
	rec.startedAt = c.startedAt.values[i]
	rec.level, rec.ruleLevel = int8(max(c.level.at(i), 0)), int8(max(c.ruleLevel.at(i), 0))
	rec.ruleset, rec.hurt, rec.zone = c.ruleset.at(i), c.hurt.at(i), c.zone.at(i)
	rec.safetyNet = tri(c.safetyNet, i)
	rec.seconds, rec.hasSeconds = int64(c.seconds.values[i]), c.seconds.valid[i]
	rec.again = c.contactKind.at(i) == 0
}

// sharePages reports whether two columns of a row group stand on one set of pages.
func sharePages(f *file.Reader, group int, a, b string) bool {
	m := f.MetaData()
	i, j := m.Schema.ColumnIndexByName(a), m.Schema.ColumnIndexByName(b)
	columns := m.RowGroups[group].Columns
	return i >= 0 && j >= 0 && columns[i].MetaData.DataPageOffset == columns[j].MetaData.DataPageOffset
}
