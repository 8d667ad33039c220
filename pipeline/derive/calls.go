package derive

import "context"

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

func openCalls(path string, all *vocabulary) (*callRows, error) {
	r, err := openRows(path)
	if err != nil {
		return nil, err
	}
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

// next fills rec with the next record; it reports false at the end.
func (c *callRows) next(ctx context.Context, rec *record) (more bool, err error) {
	if c.i == c.n {
		if c.n, err = c.r.next(ctx); c.n == 0 || err != nil {
			return false, err
		}
		c.i = 0
	}
	i := c.i
	c.i++
	rec.row = i
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
	return true, nil
}

func (c *callRows) close() { c.r.close() }
