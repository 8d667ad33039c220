package derive

import (
	"context"
	"errors"
	"math"
	"os"

	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/lanes"
	"hindcheck/pipeline/pagefile"
	"hindcheck/pipeline/rules"
)

// ErrUnwalkable says that the files of a month cannot be walked side by side:
// calls are out of the order of time, checks stand in another order than their
// calls, a call before the one that opened its episode, or a column is not stored as a load stores it now.
var ErrUnwalkable = lanes.ErrUnwalkable

// Definitions are what cases are derived under.
type Definitions struct {
	Dictionary *findings.Dictionary
	// Program is nil where the line has no rules.
	Program *rules.Program
	CaseDef *casedef.Definition
	// EpisodeHours is how long after its first contact an episode takes contacts.
	EpisodeHours int
	Shifts       Shifts
}

// Files are the stored files of one month; Checks may be empty.
type Files struct {
	Calls, Checks string
	Outcomes      []string
}

// Deriver derives one month after another. It is not for use by several goroutines
// at a time.
type Deriver struct {
	def   Definitions
	words *lanes.Vocabulary
	enc   *encoder
	clock *clock

	best     []int64
	record   rules.Record
	result   rules.Result
	handling [5]int32
	idle     []*episode // to be used again

	sheet *sheet
	press *press
}

// New makes a deriver.
func New(def Definitions) *Deriver {
	n := len(def.Dictionary.Findings)
	d := &Deriver{def: def, words: lanes.NewVocabulary(), enc: newEncoder(def.Dictionary), clock: newClock(def.Shifts), press: &press{},
		best: make([]int64, n), record: rules.Record{Values: make([]int32, n)}}
	flagWords := 0
	if def.Program != nil {
		flagWords = def.Program.Set.Words()
	}
	d.sheet = newSheet(def.Dictionary, flagWords)
	d.handling = [5]int32{lanes.None, d.words.Number("free"), d.words.Number("held"), d.words.Number("wrapped"), d.words.Number("refused")}
	return d
}

// month is the walk over the records of one month.
type month struct {
	*Deriver
	calls    *calls
	checks   *checkRows
	outcomes *outcomes

	// waiting from head on are the episodes that may still take records, by their
	// opening.
	waiting []*episode
	head    int
	byID    map[lanes.Key]*episode

	file *pagefile.File
	path string
	rows int64
}

// Month derives the cases of a month and writes them to a new file at path, which
// is not made if there are none. It returns the number of rows; on an error,
// ErrUnwalkable above all, there is no file.
func (d *Deriver) Month(ctx context.Context, files Files, path string) (rows int64, err error) {
	m := &month{Deriver: d, byID: map[lanes.Key]*episode{}, path: path}
	d.sheet.reset()
	if m.calls, err = openCalls(files.Calls, d.words); err != nil {
		return 0, err
	}
	defer m.calls.close()
	d.sheet.room(m.calls.rows())
	if files.Checks != "" {
		if m.checks, err = openChecks(files.Checks, d.enc); err != nil {
			return 0, err
		}
		defer m.checks.close()
	}
	if m.outcomes, err = readOutcomes(ctx, files.Outcomes, d.words); err != nil {
		return 0, err
	}
	err = m.walk(ctx)
	if err == nil {
		err = m.flush()
	}
	if m.file == nil {
		return 0, err
	}
	if err = errors.Join(err, m.file.Close()); err != nil {
		return 0, errors.Join(err, os.Remove(path))
	}
	return m.rows, nil
}

// walk takes the calls in order, each with its checks.
func (m *month) walk(ctx context.Context) error {
	var r record
	for last := int64(math.MinInt64); ; last = r.startedAt {
		more, err := m.calls.next(ctx, &r)
		if err != nil {
			return err
		}
		if !more {
			break
		}
		if r.startedAt < last {
			return ErrUnwalkable
		}
		readings, err := m.readings(ctx, r.call)
		if err != nil {
			return err
		}
		if !r.clinical {
			continue
		}
		if err := m.emitUntil(r.startedAt); err != nil {
			return err
		}
		e := m.byID[r.episode]
		if r.call == r.episode {
			e = m.open(&r)
		}
		if e == nil {
			return ErrUnwalkable
		}
		e.add(&r, readings, m.words)
	}
	for _, e := range m.waiting[m.head:] {
		if err := m.emit(e); err != nil {
			return err
		}
	}
	if m.checks != nil {
		done, err := m.checks.done(ctx)
		if err == nil && !done {
			err = ErrUnwalkable
		}
		return err
	}
	return nil
}

func (m *month) readings(ctx context.Context, call lanes.Key) ([]reading, error) {
	if m.checks == nil {
		return nil, nil
	}
	return m.checks.of(ctx, call)
}

// open begins an episode.
func (m *month) open(r *record) *episode {
	e := new(episode)
	if n := len(m.idle); n > 0 {
		e, m.idle = m.idle[n-1], m.idle[:n-1]
	}
	e.open(r)
	m.waiting = append(m.waiting, e)
	m.byID[e.id] = e
	return e
}

// emitUntil writes the episodes that take no record from now on.
func (m *month) emitUntil(now int64) error {
	for m.head < len(m.waiting) {
		e := m.waiting[m.head]
		if now-e.startedAt <= int64(m.def.EpisodeHours)*hour {
			break
		}
		if err := m.emit(e); err != nil {
			return err
		}
		delete(m.byID, e.id)
		m.idle = append(m.idle, e)
		m.head++
	}
	if 2*m.head > len(m.waiting) {
		m.waiting, m.head = append(m.waiting[:0], m.waiting[m.head:]...), 0
	}
	return nil
}

// flush writes the rows collected so far.
func (m *month) flush() error {
	if m.sheet.n == 0 {
		return nil
	}
	if m.file == nil {
		sc, err := m.sheet.schema()
		if err != nil {
			return err
		}
		if m.file, err = pagefile.Create(m.path, sc, m.sheet.properties()); err != nil {
			return err
		}
	}
	m.rows += int64(m.sheet.n)
	return m.sheet.write(m.file, m.press, m.words)
}
