package publish

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/queries"
)

// Differences say how far the figures of the review move when they are made
// from the release and not from the source.
type Differences struct {
	Sections []Difference `json:"sections"`
}

// Difference is one section of the review. Shares differ in points (0.01 is one
// in a hundred), numbers of episodes relative to the source. Largest figures are
// rounded up to one digit, so that they cannot be subtracted from the release.
type Difference struct {
	Section string `json:"section"`
	// Figures have a value in the source; Same do not move, Near move by at
	// most 0.01, Lost have no value in the release.
	Figures int `json:"figures"`
	Same    int `json:"same"`
	Near    int `json:"within_0_01"`
	Lost    int `json:"not_estimable_in_release"`
	// Largest difference of a figure that has a value in both; LargestLimit
	// the same of its limits.
	Largest      float64 `json:"largest"`
	LargestLimit float64 `json:"largest_of_limits"`
}

// sections of the review by the first part of a path; others are left out
// because they hold no figure or name single episodes.
var sections = []string{"advice", "rules", "flags", "levels", "trend", "thresholds", "findings", "readings", "handling", "safety"}

// compare makes the review from source and release and measures the release's
// content while it is open.
func (w *work) compare(ctx context.Context) error {
	db, err := queries.OpenPublished(ctx, w.dir, queries.OpenOptions{})
	if err != nil {
		return err
	}
	defer db.Close()
	if err := w.contentUnique(ctx, db); err != nil {
		return err
	}
	var both [2]any
	for i, from := range []*queries.DB{w.src, db} {
		r, err := review.Build(ctx, from, w.opt.Review)
		if err != nil {
			return fmt.Errorf("judge the release: %w", err)
		}
		text, err := json.Marshal(r)
		if err != nil {
			return err
		}
		if err := json.Unmarshal(text, &both[i]); err != nil {
			return err
		}
	}
	w.errors = differences(both[0], both[1])
	return nil
}

// differences walks two reviews side by side.
func differences(source, release any) Differences {
	var out Differences
	for _, s := range sections {
		d := Difference{Section: s}
		d.walk(at(source, s), at(release, s))
		if d.Figures > 0 {
			d.Largest, d.LargestLimit = RoundUp(d.Largest), RoundUp(d.LargestLimit)
			out.Sections = append(out.Sections, d)
		}
	}
	return out
}

func at(v any, key string) any {
	m, _ := v.(map[string]any)
	return m[key]
}

func (d *Difference) walk(source, release any) {
	switch s := source.(type) {
	case map[string]any:
		if _, ok := s["estimate"].(float64); ok {
			r, _ := release.(map[string]any)
			d.figure(s, r)
			return
		}
		for k, v := range s {
			// Limits by cluster rest on keys that may be withheld.
			if k != "clusters" {
				d.walk(v, at(release, k))
			}
		}
	case []any:
		r, _ := release.([]any)
		for i, v := range s {
			var other any
			if i < len(r) {
				other = r[i]
			}
			d.walk(v, other)
		}
	}
}

func (d *Difference) figure(source, release map[string]any) {
	d.Figures++
	if _, ok := release["estimate"].(float64); !ok {
		d.Lost++
		return
	}
	by := distance(source, release, "estimate")
	d.Largest = max(d.Largest, by)
	if by <= 1e-9 {
		d.Same++
	}
	if by <= 0.01 {
		d.Near++
	}
	d.LargestLimit = max(d.LargestLimit, distance(source, release, "low"), distance(source, release, "high"))
}

// distance is absolute for shares and relative for numbers above 1.
func distance(source, release map[string]any, key string) float64 {
	s, ok := source[key].(float64)
	r, ok2 := release[key].(float64)
	if !ok || !ok2 {
		return 0
	}
	return math.Abs(s-r) / max(1, math.Abs(s))
}

// RoundUp rounds up to one digit: 0.0123 becomes 0.02.
func RoundUp(x float64) float64 {
	if x <= 1e-9 {
		return 0
	}
	unit := math.Pow(10, math.Floor(math.Log10(x)))
	// Text rounds away what the power of ten adds.
	var out float64
	_, _ = fmt.Sscan(strings.TrimSpace(fmt.Sprintf("%.12g", math.Ceil(x/unit-1e-9)*unit)), &out)
	return out
}
