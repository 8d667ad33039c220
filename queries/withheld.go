package queries

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// ErrWithheld is wrapped by the error of a question that a published dataset
// cannot answer, because what it reads was not published.
var ErrWithheld = errors.New("not in the published dataset")

// never are the questions whose answer from a published dataset would look
// right and be wrong, because it rests on what was made coarser.
var never = map[string]string{
	"rare_misses":       "it counts the days between episodes, and days were not published",
	"replay_counts":     "rules read ages and weights, which were published as bands or not at all",
	"replay_days":       "rules read ages and weights, which were published as bands or not at all",
	"replay_moved":      "rules read ages and weights, which were published as bands or not at all",
	"replay_episodes":   "rules read ages and weights, which were published as bands or not at all",
	"audit_frame":       "it draws episodes by the time of the call, and times were not published",
	"outcome_delays":    "times were not published",
	"check_seconds":     "times were not published",
	"unusual_readings":  "usual ranges stand in the findings dictionary, which is not part of a published dataset",
	"set_aside_reasons": "only numbers by column and reason were published, in the table set_aside",
	"ruleset_months":    "it gives the first and last contact, and times were not published",
}

// private are the beginnings of names of questions that are for the line alone.
var private = map[string]string{
	"advisor":         "questions about single advisors are for the line alone",
	"case_animals":    "cases are discussed where the records are",
	"case_checks":     "cases are discussed where the records are",
	"case_contacts":   "cases are discussed where the records are",
	"case_judgements": "cases are discussed where the records are",
	"case_outcomes":   "cases are discussed where the records are",
}

// withheld refuses a question whose answer would be wrong without what was held
// back.
func (d *DB) withheld(name string, n names) error {
	if !d.published {
		return nil
	}
	if why, ok := never[name]; ok {
		return fmt.Errorf("%w: question %s: %s", ErrWithheld, name, why)
	}
	for begins, why := range private {
		if strings.HasPrefix(name, begins) {
			return fmt.Errorf("%w: question %s: %s", ErrWithheld, name, why)
		}
	}
	for _, what := range []string{name, "cluster " + n.cluster} {
		if why, ok := d.meta.Withheld[what]; ok {
			return fmt.Errorf("%w: question %s: %s: %s", ErrWithheld, name, what, why)
		}
	}
	return nil
}

// unpublished turns the complaint about a column that a published dataset does
// not have into one that says so.
func (d *DB) unpublished(name string, err error) error {
	if d.published && (strings.Contains(err.Error(), "Binder Error") || strings.Contains(err.Error(), "Catalog Error")) {
		return fmt.Errorf("%w: question %s reads columns that are not published", ErrWithheld, name)
	}
	return err
}

// passOver notes a typed question that a published dataset cannot answer: it
// then has no rows, and Missing names it.
func (d *DB) passOver(name string, err error) bool {
	if !errors.Is(err, ErrWithheld) {
		return false
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if !slices.Contains(d.missing, name) {
		d.missing = append(d.missing, name)
	}
	return true
}

// Missing lists the typed questions that found no rows because a published
// dataset does not hold what they read; none on a store.
func (d *DB) Missing() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	out := slices.Clone(d.missing)
	slices.Sort(out)
	return out
}
