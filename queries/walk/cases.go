package walk

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/lanes"
)

// Finding is a column of readings in cases.
type Finding struct {
	Column string
	// Unreadable are its numbers that say nothing can be told.
	Unreadable []int
	// Flags are the bits of the flags that read it, a word for each 64 flags.
	Flags []uint64
}

// Cases is what is counted of the cases of a month.
type Cases struct {
	// Episodes by the animal and the advice.
	Episodes []Episodes
	// Values of findings.
	Values []Value
	// Put are the findings that were asked for, by kind of call.
	Put []Put
	// Unknown flags.
	Unknown []Unknown
	// Groups count them by single properties.
	Groups []Group
	// Verified are the mature episodes whose need is known.
	Verified Verified
	// Dispositions of episodes with an outcome; "" where none is on record.
	Dispositions map[string]int64
}

// Episodes counts episodes of a kind.
type Episodes struct {
	Level              int8
	Species, Complaint string
	N                  int64
}

// Value counts the episodes with one number of one finding, as cases holds it.
type Value struct {
	Finding int
	Number  int32
	Level   int8
	Species string
	N       int64
}

// Put counts, for each finding in order, the episodes of a kind on which it was put.
type Put struct {
	Species, Complaint string
	Episodes           int64
	Put                []int64
}

const (
	levels = 5 // none to emergency
	needs  = 3 // not known, not needed, needed
	lift   = 4 // the lowest number of a finding is -4
	// mostSpecies bounds the species of a line; one of more is asked by SQL.
	mostSpecies = 16
)

// caseWalker counts the cases of a month, column by column.
type caseWalker struct {
	findings []Finding
	mature   int64
	flags    int
	words    int // of flags

	species, complaints, dispositions *lanes.Vocabulary
	values                            []counter // a finding each: number, species, level
	classes                           [][]uint8 // a finding each: the state of a number, from -4 on
	kinds                             map[[2]int32]int32
	kindList                          [][2]int32
	episodes                          []int64 // kind, level
	put                               []int64 // kind, finding
	unknown                           []int64 // word, combination, state, flag
	disposed                          []int64
	verified                          verifier
	groups                            grouper

	// Of the rows of a batch: species and reason for the call, by kinds; species and
	// level; level, needs and maturity; and the flags that read a finding of each state.
	kind, group, judged []int32
	masks               [][assessed + 1]uint64
}

// counter counts by a number that may grow.
type counter []int64

// WalkCases counts the cases of a month: which numbers the findings have, and why
// flags are unknown. Episodes begun before mature are mature. It returns an error
// that wraps lanes.ErrUnwalkable where the files are not as a load writes them.
func WalkCases(ctx context.Context, paths []string, findings []Finding, flags int, mature time.Time) (*Cases, error) {
	w := &caseWalker{findings: findings, mature: mature.UnixMicro(), flags: flags, words: (flags + 63) / 64, kinds: map[[2]int32]int32{},
		species: lanes.NewVocabulary(), complaints: lanes.NewVocabulary(), dispositions: lanes.NewVocabulary(), values: make([]counter, len(findings))}
	w.verified.practices = lanes.NewVocabulary()
	w.groups.begin()
	w.unknown = make([]int64, w.words*levels*needs*needs*2*assessed*64)
	for _, v := range []*lanes.Vocabulary{w.species, w.complaints, w.dispositions} {
		v.Number("") // not recorded
	}
	for _, f := range findings {
		w.classes = append(w.classes, classesOf(f))
	}
	for _, path := range paths {
		if err := w.file(ctx, path); err != nil {
			return nil, err
		}
	}
	return w.cases(), nil
}

// caseRows are the columns of a file.
type caseRows struct {
	species, complaint, disposition          lanes.Words
	level, needEmergency, needSameDay, route *lanes.Lane[int32]
	started                                  *lanes.Lane[int64]
	unknown                                  []*lanes.Lane[uint64]
	findings                                 []*lanes.Lane[int32]
	verifiedRows
	groupRows
}

func (w *caseWalker) open(r *lanes.Reader) *caseRows {
	rows := &caseRows{species: lanes.ReadWords(r, "species", w.species.Number), complaint: lanes.ReadWords(r, "complaint", w.complaints.Number),
		disposition: lanes.ReadWords(r, "disposition", w.dispositions.Number), level: lanes.Whole(r, "level"), needEmergency: lanes.Whole(r, "need_emergency"),
		needSameDay: lanes.Whole(r, "need_same_day"), route: lanes.Whole(r, "route"), started: lanes.Times(r, "started_at")}
	rows.animal, rows.advisor, rows.practice = lanes.Keys(r, "animal"), lanes.Keys(r, "advisor"), lanes.ReadWords(r, "practice", w.verified.practices.Number)
	rows.groupRows = w.groups.open(r)
	for i := range w.words {
		rows.unknown = append(rows.unknown, lanes.Bits(r, "unknown_"+strconv.Itoa(i)))
		rows.fired = append(rows.fired, lanes.Bits(r, "fired_"+strconv.Itoa(i)))
	}
	for _, f := range w.findings {
		rows.findings = append(rows.findings, lanes.Whole(r, f.Column))
	}
	return rows
}

func (w *caseWalker) file(ctx context.Context, path string) error {
	r, err := lanes.Open(path)
	if err != nil {
		return err
	}
	defer r.Close()
	rows := w.open(r)
	for {
		n, err := r.Next(ctx)
		if n == 0 || err != nil {
			return err
		}
		if err := w.batch(rows, n); err != nil {
			return fmt.Errorf("%w: %s: %v", lanes.ErrUnwalkable, path, err)
		}
	}
}

// batch counts the rows of a batch.
func (w *caseWalker) batch(rows *caseRows, n int) error {
	if err := w.describe(rows, n); err != nil {
		return err
	}
	for f, l := range rows.findings {
		for i, valid := range l.Valid[:n] {
			if !valid || l.Values[i] < -lift {
				return fmt.Errorf("column %s: a number below those that stand for a state, or none", w.findings[f].Column)
			}
		}
		w.count(f, l.Values[:n])
	}
	for word := range w.words {
		clear(w.masks[:n])
		for f, l := range rows.findings {
			if readers := w.findings[f].Flags[word]; readers != 0 {
				w.mask(w.classes[f], readers, l.Values[:n])
			}
		}
		w.countUnknown(word, rows.unknown[word].Values[:n])
	}
	return nil
}

// describe works out of each row what its findings are counted by.
func (w *caseWalker) describe(rows *caseRows, n int) error {
	if len(w.kind) < n {
		w.kind, w.group, w.judged = make([]int32, n), make([]int32, n), make([]int32, n)
		w.masks = make([][assessed + 1]uint64, n)
	}
	for i := range n {
		level, e, s := rows.level.Values[i], rows.needEmergency.Values[i]+1, rows.needSameDay.Values[i]+1
		if !rows.level.Valid[i] || level < 0 || level >= levels || !rows.needEmergency.Valid[i] || !rows.needSameDay.Valid[i] || e < 0 || e >= needs || s < 0 || s >= needs || !rows.started.Valid[i] {
			return fmt.Errorf("level %d, needs %d and %d", level, e-1, s-1)
		}
		mature := int32(bit(rows.started.Values[i] < w.mature))
		species := max(rows.species.At(i), 0)
		if species >= mostSpecies {
			return fmt.Errorf("more than %d species", mostSpecies)
		}
		w.group[i], w.judged[i] = species*levels+level, ((level*needs+e)*needs+s)*2+mature
		w.kind[i] = w.kindOf(species, max(rows.complaint.At(i), 0))
		w.episodes[w.kind[i]*levels+level]++
		if err := w.groups.add(rows, i, species, max(rows.complaint.At(i), 0), level, e, s, mature); err != nil {
			return err
		}
		if mature == 1 && e+s > 0 { // one of the needs is known
			w.verified.add(rows, i)
		}
		if rows.route.Valid[i] && rows.route.Values[i] > 0 {
			at := max(rows.disposition.At(i), 0)
			for int(at) >= len(w.disposed) {
				w.disposed = append(w.disposed, 0)
			}
			w.disposed[at]++
		}
	}
	return nil
}

// kindOf numbers a species and a reason for the call.
func (w *caseWalker) kindOf(species, complaint int32) int32 {
	key := [2]int32{species, complaint}
	k, ok := w.kinds[key]
	if !ok {
		k = int32(len(w.kindList))
		w.kinds[key], w.kindList = k, append(w.kindList, key)
		w.episodes = append(w.episodes, make([]int64, levels)...)
		w.put = append(w.put, make([]int64, len(w.findings))...)
	}
	return k
}

// count counts the numbers of a finding.
func (w *caseWalker) count(f int, numbers []int32) {
	const groups = mostSpecies * levels
	counts, put := w.values[f], w.put
	for i, v := range numbers {
		at := int(v+lift)*groups + int(w.group[i])
		if at >= len(counts) {
			counts = append(counts, make([]int64, (int(v)+lift+1)*groups-len(counts))...)
		}
		counts[at]++
		if v != codes.NotAsked {
			put[int(w.kind[i])*len(w.findings)+f]++
		}
	}
	w.values[f] = counts
}

// cases lists what was counted.
func (w *caseWalker) cases() *Cases {
	out := &Cases{Dispositions: map[string]int64{}}
	for k, key := range w.kindList {
		species, complaint := w.species.All[key[0]], w.complaints.All[key[1]]
		p := Put{Species: species, Complaint: complaint, Put: w.put[k*len(w.findings) : (k+1)*len(w.findings)]}
		for level := range levels {
			if n := w.episodes[k*levels+level]; n > 0 {
				out.Episodes = append(out.Episodes, Episodes{int8(level), species, complaint, n})
				p.Episodes += n
			}
		}
		out.Put = append(out.Put, p)
	}
	for f, counts := range w.values {
		for i, n := range counts {
			if n > 0 {
				number, group := i/(mostSpecies*levels), i%(mostSpecies*levels)
				out.Values = append(out.Values, Value{f, int32(number - lift), int8(group % levels), w.species.All[group/levels], n})
			}
		}
	}
	for at, n := range w.disposed {
		if n > 0 {
			out.Dispositions[w.dispositions.All[at]] = n
		}
	}
	out.Unknown = w.unknownRows()
	out.Groups = w.groups.rows(w.species, w.complaints)
	out.Verified = w.verified.Verified
	out.Verified.PracticeNames = w.verified.practices.All
	return out
}
