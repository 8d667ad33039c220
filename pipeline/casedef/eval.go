package casedef

import (
	"slices"
	"time"

	"hindcheck/pipeline/codes"
)

// Outcome is one stored outcome, with the fields that a definition looks at. An
// empty word, a NoLevel and an Unknown are blanks.
type Outcome struct {
	ID         [16]byte
	Source     codes.Source
	Route      codes.Route
	SeenAt     time.Time
	RecordedAt time.Time // zero if not recorded
	Practice   string
	VetLevel   codes.Level
	// Disposition and the words below are those of package codes.
	Disposition      string
	TimeCritical     codes.Tri
	DiagnosisGroup   string
	EuthanasiaReason string
	Independent      string
	SelectionP       float64 // 0 if there is none
	Responded        codes.Tri
	NoAttendReason   string
}

// Result is what a definition makes of an episode's outcomes: the outcome
// columns of `cases`. The zero value is not "no outcomes"; see Eval of none.
type Result struct {
	Practice string
	Route    codes.Route
	Source   codes.Source
	// Minutes from the first contact to the outcome that gives Route, not
	// below 0; -1 without one.
	Minutes          int32
	VetLevel         codes.Level
	Disposition      string
	EuthanasiaReason string
	DiagnosisGroup   string
	Independent      codes.Tri

	LevelEmergency, LevelSameDay                       codes.Tri
	Admitted, Surgery, TimeCritical, Death, Euthanised codes.Tri
	// NeedEmergency and NeedSameDay are Unknown where not verified.
	NeedEmergency, NeedSameDay codes.Tri

	Attended                      codes.Tri
	NoAttendReason                string
	AuditSelected, AuditResponded bool
	AuditP                        float64 // 0 if there is none
	Outcomes, Conflicts           int16
	Died                          bool
}

// severity orders dispositions; the worst of an episode is shown.
var severity = []string{"", "lost", "did_not_attend", "sent_home", "treated_sent_home", "referred", "admitted", "operated",
	"euthanised", "died", "dead_on_arrival"}

// row is an outcome with what rule 1 makes of it.
type row struct {
	*Outcome
	after         time.Duration // from the first contact
	usable        bool          // somebody found something, or could have
	noShow        bool
	vet, owner    bool // a row of that source with content
	inVet         bool // vet row within the window
	late          bool // contact at or after the end of the window
	candidate     bool // may give the route
	visit         bool
	answered      bool // a vet's row within the window that tells the events
	rank          int  // place in severity
	told          bool // owner row within the window, not overruled in its disposition
	reportedDeath bool
}

// Eval applies the definition to the outcomes of one episode that began at start.
func (d *Definition) Eval(start time.Time, outcomes []Outcome) Result {
	rows := make([]row, len(outcomes))
	lastLook := time.Duration(-1 << 62) // vet's last look that tells the events
	for i := range outcomes {
		rows[i] = d.look(start, &outcomes[i])
		if rows[i].answered {
			lastLook = max(lastLook, rows[i].after)
		}
	}
	for i := range rows {
		r := &rows[i]
		r.told = r.owner && r.after <= d.Window() && r.after > lastLook
		r.reportedDeath = r.rank >= slices.Index(severity, "euthanised") &&
			(r.vet || r.owner && (r.after > lastLook || r.after > d.Window()))
	}
	res := Result{Minutes: -1, Independent: codes.Unknown, Outcomes: int16(min(len(rows), 32767))}
	d.components(rows, lastLook, &res)
	d.needs(rows, &res)
	describe(d, rows, &res)
	attendance(d, rows, &res)
	return res
}

// look applies rule 1 to one outcome.
func (d *Definition) look(start time.Time, o *Outcome) row {
	r := row{Outcome: o, after: o.SeenAt.Sub(start), rank: slices.Index(severity, o.Disposition)}
	content := o.VetLevel.Valid() || o.Disposition != "" || o.TimeCritical != codes.Unknown
	r.usable = o.Responded != codes.No && o.Disposition != "lost" && r.after >= -early
	r.noShow = o.Disposition == "did_not_attend"
	r.vet = o.Source == codes.Vet && r.usable && content && !r.noShow
	r.owner = o.Source == codes.OwnerFollowUp && r.usable && (content || o.Responded == codes.Yes)
	r.inVet = r.vet && r.after <= d.Window()
	contact := r.after
	if !d.OwnerContactSeen && o.RecordedAt.After(o.SeenAt) {
		contact = o.RecordedAt.Sub(start)
	}
	r.late = r.vet && r.after > d.Window() || r.owner && contact >= d.Window()
	r.visit = (o.Route == codes.AdvisedVisit || o.Route == codes.OwnDecision) && r.usable && !r.noShow &&
		(o.Source == codes.Vet || r.owner)
	r.candidate = r.visit || r.vet || r.owner
	r.answered = r.inVet && o.Disposition != "" && o.Disposition != "referred"
	return r
}

// any reports whether a row satisfies f.
func anyRow(rows []row, f func(*row) bool) bool {
	for i := range rows {
		if f(&rows[i]) {
			return true
		}
	}
	return false
}

// components applies rules 2 to 5.
func (d *Definition) components(rows []row, lastLook time.Duration, res *Result) {
	inVet := anyRow(rows, func(r *row) bool { return r.inVet })
	late := anyRow(rows, func(r *row) bool { return r.late })
	otherwise := func(c Component) codes.Tri { // rules 4 and 5 where no vet answered
		if late || inVet && d.Criteria[c].UnrecordedIsNo {
			return codes.No
		}
		return codes.Unknown
	}
	level := func(cut codes.Level) codes.Tri {
		h := d.hours(VetLevel)
		vet := anyRow(rows, func(r *row) bool { return r.inVet && r.after <= h && r.VetLevel >= cut })
		vetKnows := anyRow(rows, func(r *row) bool { return r.inVet && r.VetLevel.Valid() })
		owner := anyRow(rows, func(r *row) bool { return r.owner && r.after <= h && r.VetLevel >= cut })
		ownerKnows := anyRow(rows, func(r *row) bool { return r.owner && r.after <= h && r.VetLevel.Valid() })
		if vetKnows && ownerKnows && vet != owner {
			res.Conflicts++
		}
		switch {
		case vet || !vetKnows && owner:
			return codes.Yes
		case vetKnows:
			return codes.No
		}
		return otherwise(VetLevel)
	}
	event := func(c Component, is func(*row) bool, vetLast time.Duration, answered bool) codes.Tri {
		h := d.hours(c)
		vet := anyRow(rows, func(r *row) bool { return r.inVet && r.after <= h && is(r) })
		owner := anyRow(rows, func(r *row) bool { return r.owner && r.after <= h && is(r) })
		stands := anyRow(rows, func(r *row) bool { return r.owner && r.after <= h && is(r) && r.after > vetLast })
		if owner && !stands && !vet {
			res.Conflicts++
		}
		switch {
		case vet || stands:
			return codes.Yes
		case answered:
			return codes.No
		}
		return otherwise(c)
	}
	res.LevelEmergency, res.LevelSameDay = level(codes.Emergency), level(codes.SameDay)
	answered := anyRow(rows, func(r *row) bool { return r.answered })
	is := func(words ...string) func(*row) bool {
		return func(r *row) bool { return slices.Contains(words, r.Disposition) }
	}
	res.Admitted = event(Admitted, is("admitted", "operated"), lastLook, answered)
	res.Surgery = event(Surgery, is("operated"), lastLook, answered)
	res.Death = event(Death, is("died", "dead_on_arrival"), lastLook, answered)
	res.Euthanised = event(Euthanasia, func(r *row) bool { return r.Disposition == "euthanised" && d.counts(r.EuthanasiaReason) },
		lastLook, answered)

	lastCritical, told := time.Duration(-1<<62), false
	for i := range rows {
		if r := &rows[i]; r.inVet && r.TimeCritical != codes.Unknown {
			lastCritical, told = max(lastCritical, r.after), true
		}
	}
	res.TimeCritical = event(TimeCritical, func(r *row) bool { return r.TimeCritical == codes.Yes }, lastCritical, told)
}

// of returns what a component is; level is that of the cut.
func (r *Result) of(c Component, level codes.Tri) codes.Tri {
	switch c {
	case Admitted:
		return r.Admitted
	case Surgery:
		return r.Surgery
	case TimeCritical:
		return r.TimeCritical
	case Death:
		return r.Death
	case Euthanasia:
		return r.Euthanised
	}
	return level
}

// needs applies rule 6.
func (d *Definition) needs(rows []row, res *Result) {
	cut := func(components []Component, level codes.Tri, panelCut codes.Level) codes.Tri {
		need := codes.No
		for _, c := range components {
			v := res.of(c, level)
			if v == codes.Yes {
				need = codes.Yes
			}
			if v == codes.Unknown && need == codes.No {
				need = codes.Unknown
			}
		}
		panel := codes.NoLevel
		for i := range rows {
			if rows[i].Source == codes.Panel {
				panel = max(panel, rows[i].VetLevel)
			}
		}
		if panel == codes.NoLevel {
			return need
		}
		judged := codes.TriOf(panel >= panelCut)
		if need != codes.Unknown && need != judged {
			res.Conflicts++
		}
		return judged
	}
	res.NeedEmergency = cut(d.Emergency, res.LevelEmergency, codes.Emergency)
	res.NeedSameDay = cut(d.SameDay, res.LevelSameDay, codes.SameDay)
}
