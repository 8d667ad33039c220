package derive

import (
	"context"
	"slices"
	"time"

	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/lanes"
)

// outcome is a linked outcome, as narrow as it can be: those of a whole month
// are held at once, since they stand in the order in which the animals were seen.
type outcome struct {
	id                            lanes.Key
	seenAt, recordedAt            int64 // microseconds since 1970
	selectionP                    float64
	next                          int32 // the next outcome of the episode, or lanes.None
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
	words *lanes.Vocabulary
	rows  []outcome
	first map[lanes.Key]int32

	found []casedef.Outcome
}

func readOutcomes(ctx context.Context, paths []string, all *lanes.Vocabulary) (*outcomes, error) {
	o := &outcomes{words: all, first: map[lanes.Key]int32{}}
	for _, p := range paths {
		if err := o.read(ctx, p); err != nil {
			return nil, err
		}
	}
	return o, nil
}

func (o *outcomes) read(ctx context.Context, path string) error {
	r, err := lanes.Open(path)
	if err != nil {
		return err
	}
	defer r.Close()
	o.rows = slices.Grow(o.rows, int(r.Rows()))
	word := func(name string) lanes.Words { return lanes.ReadWords(r, name, o.words.Number) }
	id, episode := lanes.Keys(r, "outcome"), lanes.Keys(r, "episode")
	practice, diagnosis, disposition := word("practice"), word("diagnosis_group"), word("disposition")
	euthanasia, away, independent := word("euthanasia_reason"), word("no_attend_reason"), word("independent")
	source := lanes.ReadWords(r, "source", func(w string) int32 { return int32(codes.ParseSource(w)) })
	route := lanes.ReadWords(r, "route", func(w string) int32 { return int32(codes.ParseRoute(w)) })
	level := lanes.ReadWords(r, "vet_level", levelOf)
	seen, recorded := lanes.Times(r, "seen_at"), lanes.Times(r, "recorded_at")
	selection, critical, responded := lanes.Floats(r, "selection_p"), lanes.Tris(r, "time_critical"), lanes.Tris(r, "responded")
	for {
		n, err := r.Next(ctx)
		if n == 0 || err != nil {
			return err
		}
		for i := range n {
			if !episode.Valid[i] {
				continue
			}
			o.add(episode.Values[i], outcome{id: id.Values[i], seenAt: seen.Values[i], recordedAt: recorded.Values[i], recorded: recorded.Valid[i],
				practice: practice.At(i), diagnosis: diagnosis.At(i), disposition: disposition.At(i), euthanasia: euthanasia.At(i), away: away.At(i),
				independent: independent.At(i), source: codes.Source(max(source.At(i), 0)), route: codes.Route(max(route.At(i), 0)),
				level: int8(max(level.At(i), 0)), timeCritical: lanes.Tri(critical, i), responded: lanes.Tri(responded, i),
				selectionP: selection.Values[i], selected: selection.Valid[i]})
		}
	}
}

func (o *outcomes) add(episode lanes.Key, row outcome) {
	row.next = lanes.None
	if n, ok := o.first[episode]; ok {
		row.next = n
	}
	o.first[episode] = int32(len(o.rows))
	o.rows = append(o.rows, row)
}

// of returns the outcomes of an episode as a case definition reads them, and the
// chance of selection of an audit; ok is false without one. They hold until the
// next call.
func (o *outcomes) of(episode lanes.Key) (found []casedef.Outcome, auditP float64, ok bool) {
	o.found = o.found[:0]
	n, any := o.first[episode]
	if !any {
		return nil, 0, false
	}
	for ; n != lanes.None; n = o.rows[n].next {
		r := &o.rows[n]
		if r.selected && r.route == codes.Audit {
			auditP, ok = max(auditP, r.selectionP), true
		}
		one := casedef.Outcome{ID: r.id, Source: r.source, Route: r.route, SeenAt: time.UnixMicro(r.seenAt),
			Practice: o.words.Word(r.practice), VetLevel: codes.Level(r.level), Disposition: o.words.Word(r.disposition),
			TimeCritical: codes.Tri(r.timeCritical), DiagnosisGroup: o.words.Word(r.diagnosis), EuthanasiaReason: o.words.Word(r.euthanasia),
			Independent: o.words.Word(r.independent), Responded: codes.Tri(r.responded), NoAttendReason: o.words.Word(r.away)}
		if r.recorded {
			one.RecordedAt = time.UnixMicro(r.recordedAt)
		}
		o.found = append(o.found, one)
	}
	return o.found, auditP, ok
}
