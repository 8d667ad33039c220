package replay

import (
	"cmp"
	"slices"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/pipeline/criteria"
	"hindcheck/queries"
)

// Workload is what the change means for those who see the animals.
type Workload struct {
	// Cut is from which level an animal counts as sent in.
	Cut   string `json:"cut"`
	Label string `json:"label"`
	// NightFrom and NightTo are local hours.
	NightFrom int `json:"night_from"`
	NightTo   int `json:"night_to"`
	// Source says who gave the appointments; empty if nobody did.
	Source string `json:"source"`
	Sites  []Load `json:"sites"`
}

// Load is one site by day or by night, over every date of the period.
type Load struct {
	Site string `json:"site"`
	Part string `json:"part"`
	// Dates of the period, calls or none.
	Dates int `json:"dates"`
	// Old and New are animals sent in on an average date if rules are followed
	// exactly, OldKept and NewKept with the advisors' own raises.
	Old     float64 `json:"old"`
	New     float64 `json:"new"`
	OldKept float64 `json:"old_kept"`
	NewKept float64 `json:"new_kept"`
	// Busiest are the animals of the busiest date.
	OldBusiest int64 `json:"old_busiest"`
	NewBusiest int64 `json:"new_busiest"`
	// Appointments that the site says it has, left out if it does not say; Over
	// are dates on which more are sent in.
	Appointments *int `json:"appointments,omitempty"`
	OldOver      *int `json:"old_over,omitempty"`
	NewOver      *int `json:"new_over,omitempty"`
	OldOverKept  *int `json:"old_over_kept,omitempty"`
	NewOverKept  *int `json:"new_over_kept,omitempty"`

	total [4]int64
}

// workloadCut is what counts as sent in.
func (b *builder) workloadCut() int {
	if c := b.opt.Criteria; c != nil {
		return int(c.Workload.Cut)
	}
	return sameDay
}

// night is the local hours at which the night begins and ends.
func (b *builder) night() (from, to int) {
	if a := b.opt.Appointments; a != nil {
		return a.NightFrom, a.NightTo
	}
	return criteria.DefaultNightFrom, criteria.DefaultNightTo
}

func (b *builder) workload(r *Report) error {
	w, cut := &r.Workload, b.workloadCut()
	w.Cut, w.Label = review.LevelWord(int8(cut)), review.CutLabel(cut)
	w.NightFrom, w.NightTo = b.night()
	if a := b.opt.Appointments; a != nil {
		w.Source = a.Title + " (" + a.Owner + ")"
	}
	rows := b.answers.Days
	w.Sites = []Load{}
	for i := range rows {
		b.loadOf(w, &rows[i]).add(&rows[i])
	}
	for i := range w.Sites {
		w.Sites[i].average()
	}
	slices.SortFunc(w.Sites, func(a, b Load) int { return cmp.Or(cmp.Compare(a.Site, b.Site), cmp.Compare(a.Part, b.Part)) })
	return nil
}

// loadOf finds or makes the line of a site's days or nights.
func (b *builder) loadOf(w *Workload, r *queries.ReplayDaysRow) *Load {
	part := "day"
	if r.Night {
		part = "night"
	}
	for i := range w.Sites {
		if w.Sites[i].Site == r.Site && w.Sites[i].Part == part {
			return &w.Sites[i]
		}
	}
	l := Load{Site: r.Site, Part: part, Dates: max(1, int(b.std.Days+0.5))}
	if b.opt.Appointments != nil {
		if s, ok := b.opt.Appointments.Of(r.Site); ok {
			places := s.Day
			if r.Night {
				places = s.Night
			}
			l.Appointments, l.OldOver, l.NewOver, l.OldOverKept, l.NewOverKept = &places, new(int), new(int), new(int), new(int)
		}
	}
	w.Sites = append(w.Sites, l)
	return &w.Sites[len(w.Sites)-1]
}

func (l *Load) add(r *queries.ReplayDaysRow) {
	over := [4]*int{l.OldOver, l.NewOver, l.OldOverKept, l.NewOverKept}
	for i, n := range [4]int64{r.OldSent, r.NewSent, r.OldKept, r.NewKept} {
		l.total[i] += n
		if l.Appointments != nil && n > int64(*l.Appointments) {
			*over[i]++
		}
	}
	l.OldBusiest, l.NewBusiest = max(l.OldBusiest, r.OldSent), max(l.NewBusiest, r.NewSent)
}

func (l *Load) average() {
	for i, to := range [4]*float64{&l.Old, &l.New, &l.OldKept, &l.NewKept} {
		*to = rounded(float64(l.total[i]) / float64(l.Dates))
	}
}
