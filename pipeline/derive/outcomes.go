package derive

import (
	"context"
	"slices"
	"time"

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

func readOutcomes(ctx context.Context, paths []string, all *vocabulary) (*outcomes, error) {
	o := &outcomes{words: all, first: map[key]int32{}}
	for _, p := range paths {
		if err := o.read(ctx, p); err != nil {
			return nil, err
		}
	}
	return o, nil
}

func (o *outcomes) read(ctx context.Context, path string) error {
	r, err := openRows(path)
	if err != nil {
		return err
	}
	defer r.close()
	o.rows = slices.Grow(o.rows, int(r.file.NumRows()))
	word := func(name string) words { return wordLane(r, name, o.words.number) }
	id, episode := keyLane(r, "outcome"), keyLane(r, "episode")
	practice, diagnosis, disposition := word("practice"), word("diagnosis_group"), word("disposition")
	euthanasia, away, independent := word("euthanasia_reason"), word("no_attend_reason"), word("independent")
	source := wordLane(r, "source", func(w string) int32 { return int32(codes.ParseSource(w)) })
	route := wordLane(r, "route", func(w string) int32 { return int32(codes.ParseRoute(w)) })
	level := wordLane(r, "vet_level", levelOf)
	seen, recorded := timeLane(r, "seen_at"), timeLane(r, "recorded_at")
	selection, critical, responded := floatLane(r, "selection_p"), triLane(r, "time_critical"), triLane(r, "responded")
	for {
		n, err := r.next(ctx)
		if n == 0 || err != nil {
			return err
		}
		for i := range n {
			if !episode.valid[i] {
				continue
			}
			o.add(episode.values[i], outcome{id: id.values[i], seenAt: seen.values[i], recordedAt: recorded.values[i], recorded: recorded.valid[i],
				practice: practice.at(i), diagnosis: diagnosis.at(i), disposition: disposition.at(i), euthanasia: euthanasia.at(i), away: away.at(i),
				independent: independent.at(i), source: codes.Source(max(source.at(i), 0)), route: codes.Route(max(route.at(i), 0)),
				level: int8(max(level.at(i), 0)), timeCritical: tri(critical, i), responded: tri(responded, i),
				selectionP: selection.values[i], selected: selection.valid[i]})
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
