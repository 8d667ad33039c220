package review

import (
	"cmp"
	"slices"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// Needless are escalations that turned out not to have been needed at one cut,
// by the flags responsible. Mature escalated episodes whose need became known.
type Needless struct {
	Cut   string `json:"cut"`
	Label string `json:"label"`
	// Known is how many escalated episodes have a known need, NotNeeded how many of
	// them did not need it.
	Known     int64 `json:"known"`
	NotNeeded int64 `json:"not_needed"`
	// Flags are those that demanded the level, the one with the most needless
	// escalations of its own first. An episode with several stands under each.
	Flags []NeedlessFlag `json:"flags"`
	// Advisor are escalations for which no flag demanded the level.
	Advisor NeedlessFlag `json:"advisor"`
}

// NeedlessFlag is one flag that demanded the level.
type NeedlessFlag struct {
	Flag  string `json:"flag"`
	Title string `json:"title"`
	// AloneNotNeeded are needless escalations that this flag alone demanded,
	// AloneNeeded those that were needed: without the flag, both would have
	// rested on the advisor.
	AloneNotNeeded int64 `json:"alone_not_needed"`
	AloneNeeded    int64 `json:"alone_needed"`
	// WithOthers are episodes in which another flag demanded the level too.
	WithOthersNotNeeded int64 `json:"with_others_not_needed"`
	WithOthersNeeded    int64 `json:"with_others_needed"`
	// Share was not needed, of those that it alone demanded. It is naive.
	Share Figure `json:"share"`
}

func (b *builder) fillNeedless(r *Review) error {
	r.Needless = []Needless{}
	for _, cut := range bothCuts {
		rows, err := b.db.NeedlessEscalations(b.ctx, b.scope, cut)
		if err != nil {
			return err
		}
		n, err := b.needless(rows, cut)
		if err != nil {
			return err
		}
		advice := r.Advice[len(r.Needless)]
		n.Known, n.NotNeeded = advice.Verified.TP+advice.Verified.FP, advice.Verified.FP
		r.Needless = append(r.Needless, n)
	}
	return nil
}

func (b *builder) needless(rows []queries.NeedlessEscalationsRow, cut int) (Needless, error) {
	out := Needless{Cut: levelWords[cut], Label: cutLabel(cut), Flags: []NeedlessFlag{}}
	place := map[int]*NeedlessFlag{-1: {Title: "the advisor's own decision"}}
	for _, x := range rows {
		f := place[x.Flag]
		if f == nil {
			flag := b.db.Meta().Flags[x.Flag]
			f = &NeedlessFlag{Flag: flag.ID, Title: flag.Title}
			place[x.Flag] = f
		}
		switch {
		case x.Alone && x.Need == 0:
			f.AloneNotNeeded += x.N
		case x.Alone:
			f.AloneNeeded += x.N
		case x.Need == 0:
			f.WithOthersNotNeeded += x.N
		default:
			f.WithOthersNeeded += x.N
		}
	}
	for i, f := range place {
		e, err := metrics.Wilson(f.AloneNotNeeded, f.AloneNotNeeded+f.AloneNeeded, b.opt.Confidence)
		if err != nil {
			return out, err
		}
		f.Share = figure(e)
		if i < 0 {
			out.Advisor = *f
		} else {
			out.Flags = append(out.Flags, *f)
		}
	}
	slices.SortFunc(out.Flags, func(a, b NeedlessFlag) int {
		return cmp.Or(cmp.Compare(b.AloneNotNeeded, a.AloneNotNeeded), cmp.Compare(b.WithOthersNotNeeded, a.WithOthersNotNeeded), cmp.Compare(a.Flag, b.Flag))
	})
	return out, nil
}
