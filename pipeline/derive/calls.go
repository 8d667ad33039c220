package derive

import (
	"context"

	"github.com/apache/arrow-go/v18/arrow/array"
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
	row                    int // in the batch, for what only an opening needs
}

// callRows reads the calls of a month in their order.
type callRows struct {
	r     *reader
	words *vocabulary
	n, i  int

	call, contact, animal, owner, advisor, episode keys
	site, contactType, contactKind, zone           texts
	species, breed, sex, neutered, complaint       texts
	level, ruleLevel, ruleset, hurt                texts
	startedAt, ageMonths, seconds                  ints
	safetyNet                                      *array.Boolean
}

var callColumns = []string{"call", "contact", "animal", "owner", "advisor", "episode", "site", "contact_type", "contact_kind", "zone",
	"species", "breed_group", "sex", "neutered", "complaint", "level", "rule_level", "ruleset", "person_hurt",
	"started_at", "age_months", "call_seconds", "safety_net"}

func openCalls(ctx context.Context, path string, words *vocabulary) (*callRows, error) {
	r, err := openRows(ctx, path, callColumns)
	return &callRows{r: r, words: words}, err
}

var levelOf = closed("", "home_care", "soon", "same_day", "emergency")

// next fills rec with the next record; it reports false at the end.
func (c *callRows) next(rec *record) (bool, error) {
	if c.i == c.n {
		if more, err := c.load(); !more || err != nil {
			return false, err
		}
	}
	i := c.i
	c.i++
	rec.row = i
	rec.call, _ = c.call.at(i)
	rec.contact, rec.hasContact = c.contact.at(i)
	var inEpisode bool
	rec.episode, inEpisode = c.episode.at(i)
	rec.clinical = inEpisode && c.contactType.at(i) == 0
	rec.startedAt, _ = c.startedAt.at(i)
	rec.level, rec.ruleLevel = int8(max(c.level.at(i), 0)), int8(max(c.ruleLevel.at(i), 0))
	rec.ruleset, rec.hurt, rec.zone = c.ruleset.at(i), c.hurt.at(i), c.zone.at(i)
	rec.safetyNet = tri(c.safetyNet, i)
	rec.seconds, rec.hasSeconds = c.seconds.at(i)
	rec.again = c.contactKind.at(i) == 0
	return true, nil
}

// load reads the next batch.
func (c *callRows) load() (bool, error) {
	a, n, err := c.r.next()
	if n == 0 || err != nil {
		return false, err
	}
	c.n, c.i = n, 0
	word := textsOf(c.words.number)
	for _, k := range []*keys{&c.call, &c.contact, &c.animal, &c.owner, &c.advisor, &c.episode} {
		*k = take(&a, keysOf, &err)
	}
	c.site = take(&a, word, &err)
	c.contactType = take(&a, textsOf(closed("clinical")), &err)
	c.contactKind = take(&a, textsOf(closed("re_contact")), &err)
	for _, t := range []*texts{&c.zone, &c.species, &c.breed, &c.sex, &c.neutered, &c.complaint} {
		*t = take(&a, word, &err)
	}
	c.level, c.ruleLevel = take(&a, textsOf(levelOf), &err), take(&a, textsOf(levelOf), &err)
	c.ruleset, c.hurt = take(&a, word, &err), take(&a, word, &err)
	for _, v := range []*ints{&c.startedAt, &c.ageMonths, &c.seconds} {
		*v = take(&a, intsOf, &err)
	}
	c.safetyNet = take(&a, plain[*array.Boolean], &err)
	return true, err
}

func (c *callRows) close() { c.r.close() }
