package casedef

import (
	"bytes"
	"cmp"
	"slices"
	"time"

	"hindcheck/pipeline/codes"
)

// describe fills the columns that show one outcome: the one that gives the
// route, which is a visit before a call, a vet's before an owner's, within the
// window before late, early before later.
func describe(d *Definition, rows []row, res *Result) {
	order := slices.Clone(rows)
	rank := func(b bool) int {
		if b {
			return 0
		}
		return 1
	}
	slices.SortFunc(order, func(a, b row) int {
		return cmp.Or(
			rank(a.candidate)-rank(b.candidate), rank(a.visit)-rank(b.visit),
			rank(a.Source == codes.Vet)-rank(b.Source == codes.Vet),
			rank(!a.late)-rank(!b.late), cmp.Compare(a.after, b.after), bytes.Compare(a.ID[:], b.ID[:]))
	})
	if len(order) > 0 && order[0].candidate {
		r := order[0]
		res.Route, res.Source, res.Practice, res.DiagnosisGroup = r.Route, r.Outcome.Source, r.Practice, r.DiagnosisGroup
		res.Minutes = int32(max(r.after, 0) / time.Minute)
		switch r.Outcome.Independent {
		case "yes":
			res.Independent = codes.Yes
		case "no":
			res.Independent = codes.No
		}
	}
	if anyRow(rows, func(r *row) bool { return r.Outcome.Source == codes.Panel && r.Outcome.VetLevel.Valid() }) {
		res.Source = codes.Panel
	}
	res.VetLevel = shownLevel(d, rows)
	res.Disposition = severity[shownDisposition(rows)]
	for _, r := range order {
		if r.Disposition == "euthanised" && r.reportedDeath {
			res.EuthanasiaReason = cmp.Or(r.Outcome.EuthanasiaReason, "unknown")
			break
		}
	}
	res.Died = anyRow(rows, func(r *row) bool { return r.reportedDeath })
}

// shownLevel is the worst level within the window by a vet, else by an owner's
// account, else of a late contact if it is below the cuts: a late emergency says
// nothing about the window.
func shownLevel(d *Definition, rows []row) codes.Level {
	var vet, owner, late codes.Level
	for i := range rows {
		r := &rows[i]
		switch {
		case r.inVet:
			vet = max(vet, r.Outcome.VetLevel)
		case r.owner && r.after <= d.Window():
			owner = max(owner, r.Outcome.VetLevel)
		case r.late && r.Outcome.VetLevel < codes.SameDay:
			late = max(late, r.Outcome.VetLevel)
		}
	}
	return cmp.Or(vet, owner, late)
}

// shownDisposition is the worst within the window that is not overruled, else
// of a late contact, else that it did not attend, else that it was lost.
func shownDisposition(rows []row) int {
	var within, late, rest int
	for i := range rows {
		r := &rows[i]
		switch {
		case r.inVet || r.told:
			within = max(within, r.rank)
		case r.late:
			late = max(late, r.rank)
		case r.Outcome.Source != codes.Panel && r.rank <= slices.Index(severity, "did_not_attend"):
			rest = max(rest, r.rank)
		}
	}
	return cmp.Or(within, late, rest)
}

// attendance fills whether the animal was taken to a vet, and the audit columns.
func attendance(d *Definition, rows []row, res *Result) {
	seen := []string{"treated_sent_home", "referred", "admitted", "operated", "euthanised", "dead_on_arrival"}
	res.Attended = codes.Unknown
	var away *row
	for i := range rows {
		r := &rows[i]
		if r.Source == codes.Vet && r.usable && !r.noShow && r.after <= d.Window() || r.owner && slices.Contains(seen, r.Disposition) {
			res.Attended = codes.Yes
		}
		if (r.noShow || r.Outcome.NoAttendReason != "") && r.usable && r.Source != codes.Panel && earlierAway(r, away) {
			away = r
		}
		if r.Outcome.Route == codes.Audit {
			res.AuditSelected = true
			res.AuditResponded = res.AuditResponded || r.vet || r.owner
			res.AuditP = max(res.AuditP, r.SelectionP)
		}
	}
	if res.Attended == codes.Unknown && away != nil {
		res.Attended, res.NoAttendReason = codes.No, away.Outcome.NoAttendReason
	}
}

// earlierAway orders rows that tell why an animal stayed away: one with a reason
// first, then the earlier.
func earlierAway(r, than *row) bool {
	if than == nil {
		return true
	}
	blank := func(r *row) int {
		if r.Outcome.NoAttendReason == "" {
			return 1
		}
		return 0
	}
	return cmp.Or(blank(r)-blank(than), cmp.Compare(r.after, than.after), bytes.Compare(r.ID[:], than.ID[:])) < 0
}
