package resolve

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"

	duckdb "github.com/duckdb/duckdb-go/v2"

	"hindcheck/pipeline/lanes"
)

// contact is one triage record that lies within the window of another one of
// the same animal, as the walk sees it.
type contact struct {
	call, contact, animal lanes.Key
	startedAt             int64 // microseconds since 1970
	complaint             string
	hint                  string
	month                 int32
}

// openEpisode is an episode that may still take contacts.
type openEpisode struct {
	first      contact
	contacts   map[lanes.Key]bool
	complaints map[string]bool
}

// assignment puts a triage record into an episode.
type assignment struct {
	call, episode lanes.Key
	month         int32
	kind          string
}

// walker assigns contacts, given in order of animal, time and call, to
// episodes. An episode opens with the first contact that fits no open one; it
// takes every contact of the animal that starts within the window of its first
// contact and is related to it: the same contact (a transfer), a call-back or
// re-contact by the call system's own word, the same complaint, or no
// complaint recorded on one of the two. Its name is the pseudonym of its first
// triage record, and it belongs to the month of that record.
type walker struct {
	window int64 // microseconds
	animal lanes.Key
	open   []openEpisode
}

func (w *walker) assign(c contact) assignment {
	if c.animal != w.animal {
		w.animal, w.open = c.animal, w.open[:0]
	}
	for i := len(w.open) - 1; i >= 0; i-- {
		e := &w.open[i]
		if c.startedAt-e.first.startedAt > w.window || !e.related(c) {
			continue
		}
		kind := c.hint
		switch {
		case c.contact == e.first.contact:
			kind = "first"
		case kind == "" || kind == "first":
			kind = "re_contact"
		}
		e.contacts[c.contact] = true
		if c.complaint != "" {
			e.complaints[c.complaint] = true
		}
		return assignment{c.call, e.first.call, e.first.month, kind}
	}
	e := openEpisode{first: c, contacts: map[lanes.Key]bool{c.contact: true}, complaints: map[string]bool{}}
	if c.complaint != "" {
		e.complaints[c.complaint] = true
	}
	w.open = append(w.open, e)
	return assignment{c.call, c.call, c.month, "first"}
}

func (e *openEpisode) related(c contact) bool {
	switch {
	case e.contacts[c.contact], c.hint == "call_back", c.hint == "re_contact":
		return true
	case c.complaint == "" || len(e.complaints) == 0:
		return true
	}
	return e.complaints[c.complaint]
}

// episodes fills asg: the assignment of every record that stands within the
// window of a neighbour. All others are episodes of their own, which is told
// from their absence, so that the table stays small.
func (r *Resolver) episodes(ctx context.Context) error {
	hours := r.set.EpisodeHours
	script := []string{
		`CREATE TABLE asg (call UUID, episode UUID, month INTEGER, kind VARCHAR)`,
		// Only what the search for neighbours needs, and half of the animal's name:
		// should two animals share it, the walk sees a few records too many.
		fmt.Sprintf(`CREATE TABLE near AS SELECT call, own_month FROM (
				SELECT call, own_month, micros - lag(micros) OVER w <= %[1]d AS after_one, lead(micros) OVER w - micros <= %[1]d AS before_one
				FROM (SELECT call, own_month, hash(animal) AS half, epoch_us(started_at) AS micros FROM pres WHERE clinical AND animal IS NOT NULL)
				WINDOW w AS (PARTITION BY half ORDER BY micros))
			WHERE after_one OR before_one`, int64(hours)*hourMicros),
	}
	for _, q := range script {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	conn, err := r.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	rows, err := r.ordered(ctx, "near", `SELECT p.call, p.contact, p.animal, epoch_us(p.started_at) AS started_at, coalesce(p.complaint, '') AS complaint, coalesce(p.hint, '') AS hint, near.own_month
		FROM (SELECT call, contact, animal, started_at, complaint, contact_kind AS hint FROM inc_calls
			UNION ALL SELECT call, contact, animal, started_at, complaint, contact_kind_given FROM settled) p
		JOIN near USING (call) ORDER BY p.animal, p.started_at, p.call`)
	if err != nil {
		return err
	}
	err = conn.Raw(func(raw any) error {
		app, err := duckdb.NewAppenderFromConn(raw.(driver.Conn), "", "asg")
		if err != nil {
			return err
		}
		if err := walkRows(ctx, rows, app, int64(hours)*hourMicros); err != nil {
			_ = app.Close()
			return err
		}
		return app.Close()
	})
	return errors.Join(err, r.closeOrders())
}

func walkRows(ctx context.Context, rows *order, app *duckdb.Appender, window int64) error {
	w, words := walker{window: window}, lanes.NewVocabulary()
	r := rows.Reader
	call, contacts, animal, started := lanes.Keys(r, "call"), lanes.Keys(r, "contact"), lanes.Keys(r, "animal"), lanes.Longs(r, "started_at")
	complaint, hint, month := lanes.ReadWords(r, "complaint", words.Number), lanes.ReadWords(r, "hint", words.Number), lanes.Whole(r, "own_month")
	for {
		n, err := rows.Next(ctx)
		if n == 0 || err != nil {
			return err
		}
		for i := range n {
			a := w.assign(contact{call.Values[i], contacts.Values[i], animal.Values[i], started.Values[i],
				words.Word(complaint.At(i)), words.Word(hint.At(i)), month.Values[i]})
			if err := app.AppendRow(duckdb.UUID(a.call), duckdb.UUID(a.episode), a.month, a.kind); err != nil {
				return err
			}
		}
	}
}
