package review

import (
	"slices"
	"time"

	"hindcheck/cmd/report/internal/actions"
)

// Agreed are the actions of earlier reviews as they stand.
type Agreed struct {
	// On is the day by which an action is overdue: that of the meeting, else
	// of the data cut.
	On time.Time `json:"on"`
	// Open stand in the order of their days, then of the file.
	Open []AgreedAction `json:"open"`
	// Closed were open in the last review and are done or dropped now.
	Closed []AgreedAction `json:"closed"`
	// Gone were open in the last review and no longer stand in the file.
	Gone []AgreedAction `json:"gone"`
	// Overdue and New count among the open; Earlier are closed ones that were
	// not open in the last review.
	Overdue int `json:"overdue"`
	New     int `json:"new"`
	Earlier int `json:"closed_earlier"`
}

// AgreedAction is one action beside what is said of it.
type AgreedAction struct {
	actions.Action
	Overdue bool `json:"overdue"`
	// New is whether the last review did not hold it.
	New bool `json:"new"`
}

// agreed sorts the actions of the file by what became of them.
func agreed(file []actions.Action, last *Review, on time.Time) Agreed {
	a := Agreed{On: on, Open: []AgreedAction{}, Closed: []AgreedAction{}, Gone: []AgreedAction{}}
	was := map[string]AgreedAction{}
	if last != nil {
		for _, x := range last.Actions.Open {
			was[x.ID] = x
		}
	}
	stands := map[string]bool{}
	for _, x := range file {
		_, known := was[x.ID]
		stands[x.ID] = true
		one := AgreedAction{Action: x, New: !known}
		switch {
		case x.Status == actions.Open:
			one.Overdue = on.After(x.Due) // both are days, and Due is the last
			a.Open = append(a.Open, one)
			if one.Overdue {
				a.Overdue++
			}
			if one.New {
				a.New++
			}
		case known:
			one.New = false
			a.Closed = append(a.Closed, one)
		default:
			a.Earlier++
		}
	}
	slices.SortStableFunc(a.Open, func(x, y AgreedAction) int { return x.Due.Compare(y.Due) })
	if last != nil {
		for _, x := range last.Actions.Open {
			if !stands[x.ID] {
				a.Gone = append(a.Gone, x)
			}
		}
	}
	return a
}
