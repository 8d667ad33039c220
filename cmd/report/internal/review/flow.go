package review

import "hindcheck/queries"

// Diagram is the flow of episodes in the manner of STARD 2015 (item 19): from
// what was received to a known need, with a count at every loss.
type Diagram struct {
	// Records are triage records received, one an animal and contact, readable
	// and in the period; NotClinical of them are left out, by reason.
	Records     int64     `json:"records"`
	NotClinical int64     `json:"not_clinical"`
	Reasons     []FlowOut `json:"reasons"`
	// Clinical are the rest: Further ones belong to an episode that an earlier
	// record opened (a later contact, a transfer), Unplaced to none.
	Clinical int64 `json:"clinical"`
	Further  int64 `json:"further"`
	Unplaced int64 `json:"unplaced"`
	// Unmatched is how many more records open an episode than there are episodes;
	// anything but 0 means that cases and records do not belong together.
	Unmatched int64 `json:"unmatched"`
	// Episodes are what is left. Immature ones are too young for an outcome;
	// NoAdvice have no advice level on record.
	Episodes int64 `json:"episodes"`
	Immature int64 `json:"immature"`
	Mature   int64 `json:"mature"`
	NoAdvice int64 `json:"no_advice"`
	// Assessed have an advice that can be judged; they are split at either cut.
	Assessed int64     `json:"assessed"`
	Cuts     []FlowCut `json:"cuts"`
	// SetAside are rows of exports that could not be read, over the whole store:
	// what they were is not known, so they stand outside the sums.
	SetAside int64 `json:"set_aside"`
}

// FlowOut is one reason for leaving records out.
type FlowOut struct {
	Reason string `json:"reason"`
	N      int64  `json:"n"`
}

// FlowCut splits the assessed episodes at one cut.
type FlowCut struct {
	Cut      string     `json:"cut"`
	CutLabel string     `json:"cut_label"`
	Sides    []FlowSide `json:"sides"`
}

// FlowSide is escalated or not.
type FlowSide struct {
	Side     string `json:"side"`
	Label    string `json:"label"`
	Episodes int64  `json:"episodes"`
	// NoOutcome have none of any kind. Routes are the others by how the outcome
	// came to be known.
	NoOutcome int64       `json:"no_outcome"`
	Routes    []FlowRoute `json:"routes"`
	// Verified have a known need; they, NoOutcome and Unsettled (an outcome that
	// does not settle the need at this cut) are all of the side.
	Verified  int64 `json:"verified"`
	Unsettled int64 `json:"unsettled"`
	Needed    int64 `json:"needed"`
	NotNeeded int64 `json:"not_needed"`
}

// FlowRoute is one way by which outcomes came to be known.
type FlowRoute struct {
	Route     string `json:"route"`
	Label     string `json:"label"`
	Episodes  int64  `json:"episodes"`
	Needed    int64  `json:"needed"`
	NotNeeded int64  `json:"not_needed"`
	Unsettled int64  `json:"unsettled"`
}

func (b *builder) fillDiagram(r *Review) error {
	d := &r.Diagram
	d.Reasons, d.SetAside = []FlowOut{}, r.Data.SetAsideTotal
	received, err := b.db.Received(b.ctx, b.scope)
	if err != nil {
		return err
	}
	var first int64
	for _, x := range received {
		d.Records += x.Records
		switch {
		case x.ContactType != "clinical":
			d.NotClinical += x.Records
			d.leave(x.ContactType, x.Records)
		case x.Place == "first":
			first += x.Records
		case x.Place == "further":
			d.Further += x.Records
		default:
			d.Unplaced += x.Records
		}
	}
	d.Clinical = d.Records - d.NotClinical
	rows, err := b.adviceCounts()
	if err != nil {
		return err
	}
	for _, cut := range bothCuts {
		d.Cuts = append(d.Cuts, newFlowCut(cut))
	}
	for _, x := range rows {
		d.add(x)
	}
	d.Mature = d.Episodes - d.Immature
	d.Assessed = d.Mature - d.NoAdvice
	d.Unmatched = first - d.Episodes
	return nil
}

func (d *Diagram) leave(reason string, n int64) {
	for i := range d.Reasons {
		if d.Reasons[i].Reason == reason {
			d.Reasons[i].N += n
			return
		}
	}
	d.Reasons = append(d.Reasons, FlowOut{reason, n})
}

func newFlowCut(cut int) FlowCut {
	c := FlowCut{Cut: levelWords[cut], CutLabel: cutLabel(cut)}
	for _, s := range []FlowSide{{Side: "escalated", Label: "advised " + cutLabel(cut)}, {Side: "not_escalated", Label: "advised " + belowLabel(cut)}} {
		for route := 1; route < len(routeWords); route++ {
			s.Routes = append(s.Routes, FlowRoute{Route: routeWords[route], Label: routeLabels[route]})
		}
		c.Sides = append(c.Sides, s)
	}
	return c
}

// add counts the episodes of one row at both cuts.
func (d *Diagram) add(x queries.AdviceCountsRow) {
	d.Episodes += x.N
	switch {
	case !x.Mature:
		d.Immature += x.N
		return
	case x.Level == 0:
		d.NoAdvice += x.N
		return
	}
	for i, cut := range bothCuts {
		side := &d.Cuts[i].Sides[1]
		if int(x.Level) >= cut {
			side = &d.Cuts[i].Sides[0]
		}
		side.add(x.Route, needAt(x, cut), x.N)
	}
}

func (s *FlowSide) add(route, need int8, n int64) {
	s.Episodes += n
	if route == 0 {
		s.NoOutcome += n
		return
	}
	r := &s.Routes[route-1]
	r.Episodes += n
	switch need {
	case 1:
		r.Needed, s.Needed, s.Verified = r.Needed+n, s.Needed+n, s.Verified+n
	case 0:
		r.NotNeeded, s.NotNeeded, s.Verified = r.NotNeeded+n, s.NotNeeded+n, s.Verified+n
	default:
		r.Unsettled, s.Unsettled = r.Unsettled+n, s.Unsettled+n
	}
}
