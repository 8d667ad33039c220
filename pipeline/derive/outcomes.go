package derive

import (
	"context"
	"time"

	"github.com/apache/arrow-go/v18/arrow/array"

	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/codes"
)

// outcome is a linked outcome, as narrow as it can be: those of a whole month
// are held at once, since they stand in the order in which the animals were seen.
type outcome struct {
	id                            key
	seenAt, recordedAt            int64 // microseconds since 1970
	selectionP                    float64
	next                          int32 // the next outcome of the episode, or none
	practice, diagnosis           int32
	disposition, euthanasia, away int32
	independent                   int32
	source                        codes.Source
	route                         codes.Route
	level                         int8
	timeCritical, responded       int8
	recorded, selected            bool
}

// outcomes are the linked outcomes of a month by episode.
type outcomes struct {
	words *vocabulary
	rows  []outcome
	first map[key]int32

	found []casedef.Outcome
}

var outcomeColumns = []string{"outcome", "episode", "practice", "diagnosis_group", "disposition", "euthanasia_reason", "no_attend_reason", "independent",
	"source", "route", "vet_level", "seen_at", "recorded_at", "selection_p", "time_critical", "responded"}

func readOutcomes(ctx context.Context, paths []string, words *vocabulary) (*outcomes, error) {
	o := &outcomes{words: words, first: map[key]int32{}}
	for _, p := range paths {
		if err := o.read(ctx, p); err != nil {
			return nil, err
		}
	}
	return o, nil
}

func (o *outcomes) read(ctx context.Context, path string) error {
	r, err := openRows(ctx, path, outcomeColumns)
	if err != nil {
		return err
	}
	defer r.close()
	for {
		a, n, err := r.next()
		if n == 0 || err != nil {
			return err
		}
		word := textsOf(o.words.number)
		id, episode := take(&a, keysOf, &err), take(&a, keysOf, &err)
		var open [6]texts
		for i := range open {
			open[i] = take(&a, word, &err)
		}
		source := take(&a, textsOf(func(w string) int32 { return int32(codes.ParseSource(w)) }), &err)
		route := take(&a, textsOf(func(w string) int32 { return int32(codes.ParseRoute(w)) }), &err)
		level := take(&a, textsOf(levelOf), &err)
		seen, recorded := take(&a, intsOf, &err), take(&a, intsOf, &err)
		selection := take(&a, plain[*array.Float64], &err)
		critical, responded := take(&a, plain[*array.Boolean], &err), take(&a, plain[*array.Boolean], &err)
		if err != nil {
			return err
		}
		for i := range n {
			e, linked := episode.at(i)
			if !linked {
				continue
			}
			row := outcome{practice: open[0].at(i), diagnosis: open[1].at(i), disposition: open[2].at(i), euthanasia: open[3].at(i), away: open[4].at(i), independent: open[5].at(i),
				source: codes.Source(max(source.at(i), 0)), route: codes.Route(max(route.at(i), 0)), level: int8(max(level.at(i), 0)),
				timeCritical: tri(critical, i), responded: tri(responded, i)}
			row.id, _ = id.at(i)
			row.seenAt, _ = seen.at(i)
			row.recordedAt, row.recorded = recorded.at(i)
			if row.selected = !selection.IsNull(i); row.selected {
				row.selectionP = selection.Value(i)
			}
			o.add(e, row)
		}
	}
}

func (o *outcomes) add(episode key, row outcome) {
	row.next = none
	if n, ok := o.first[episode]; ok {
		row.next = n
	}
	o.first[episode] = int32(len(o.rows))
	o.rows = append(o.rows, row)
}

// of returns the outcomes of an episode as a case definition reads them, and the
// chance of selection of an audit; ok is false without one. They hold until the
// next call.
func (o *outcomes) of(episode key) (found []casedef.Outcome, auditP float64, ok bool) {
	o.found = o.found[:0]
	n, any := o.first[episode]
	if !any {
		return nil, 0, false
	}
	for ; n != none; n = o.rows[n].next {
		r := &o.rows[n]
		if r.selected && r.route == codes.Audit {
			auditP, ok = max(auditP, r.selectionP), true
		}
		one := casedef.Outcome{ID: r.id, Source: r.source, Route: r.route, SeenAt: time.UnixMicro(r.seenAt),
			Practice: o.words.word(r.practice), VetLevel: codes.Level(r.level), Disposition: o.words.word(r.disposition),
			TimeCritical: codes.Tri(r.timeCritical), DiagnosisGroup: o.words.word(r.diagnosis), EuthanasiaReason: o.words.word(r.euthanasia),
			Independent: o.words.word(r.independent), Responded: codes.Tri(r.responded), NoAttendReason: o.words.word(r.away)}
		if r.recorded {
			one.RecordedAt = time.UnixMicro(r.recordedAt)
		}
		o.found = append(o.found, one)
	}
	return o.found, auditP, ok
}
