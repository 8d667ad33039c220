package rulecheck

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"hindcheck/cmd/report/internal/caution"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/strict"
	"hindcheck/queries"
)

// Format is the version of the JSON shapes of this package.
const Format = 1

// Result is everything that report rules check says about one file.
type Result struct {
	Format int    `json:"format"`
	File   string `json:"file"`
	// RuleSet, Hash and Flags are empty for a file that cannot be read.
	RuleSet    string `json:"ruleset"`
	Hash       string `json:"hash"`
	Flags      int    `json:"flags"`
	Dictionary string `json:"dictionary"`
	// Day is the day for which the dates were judged.
	Day string `json:"day"`
	// Wrong, Doubtful and Notes count the notices by severity.
	Wrong    int      `json:"wrong"`
	Doubtful int      `json:"doubtful"`
	Notes    int      `json:"notes"`
	Notices  []Notice `json:"notices"`
	// Boundaries show each threshold on the readings around it.
	Boundaries []Boundary `json:"boundaries"`
	// Recorded says on which records the flags were tried; nil without a store.
	Recorded *Recorded `json:"recorded,omitempty"`
	Cautions []string  `json:"cautions"`
}

// Notice is one remark with its place.
type Notice struct {
	Severity string `json:"severity"`
	Kind     string `json:"kind"`
	// Line and Column count from 1; 0 for a remark on the set as a whole.
	Line   int    `json:"line"`
	Column int    `json:"column"`
	Flag   string `json:"flag,omitempty"`
	Other  string `json:"other,omitempty"`
	Text   string `json:"text"`
	Remedy string `json:"remedy"`
}

// Boundary is a threshold with what it does to the readings around it.
type Boundary struct {
	Flag      string    `json:"flag"`
	Condition string    `json:"condition"`
	Line      int       `json:"line"`
	Readings  []Reading `json:"readings"`
}

// Reading is one reading: whether it meets the condition, and whether an animal
// the flag is meant for can have it.
type Reading struct {
	Reading  string `json:"reading"`
	Meets    bool   `json:"meets"`
	Possible bool   `json:"possible"`
}

// Recorded says over which records the flags were tried.
type Recorded struct {
	From     string `json:"from"`
	To       string `json:"to"`
	Episodes int64  `json:"episodes"`
}

// Unreadable is the kind of a notice on a file that breaks the rules of its
// form: an unknown key, a word that is none of the list, a number with a unit.
const Unreadable = "unreadable"

// Options say by what a file is judged.
type Options struct {
	// Dictionary of the findings; a store's own goes before it.
	Dictionary *findings.Dictionary
	// Day for which the dates are judged.
	Day time.Time
	// DB, if not nil, is the store whose records the flags are tried on.
	DB *queries.DB
	// Review gives the period, as in the monthly review.
	Review review.Options
}

// Check reads the rules file at path. A file with mistakes is no error: the
// mistakes are notices. An error means that there is no file, or no answer.
func Check(ctx context.Context, path string, opt Options) (*Result, error) {
	r := &Result{Format: Format, File: path, Day: opt.Day.Format(time.DateOnly), Notices: []Notice{}, Boundaries: []Boundary{}, Cautions: caution.Lines}
	if opt.DB != nil && opt.DB.Meta().Dictionary != nil {
		opt.Dictionary = opt.DB.Meta().Dictionary
	}
	r.Dictionary = opt.Dictionary.ID
	s, err := rules.Load(path)
	if err != nil {
		if !r.unreadable(err) {
			return nil, fmt.Errorf("check rules: %w", err)
		}
		return r, nil
	}
	r.RuleSet, r.Hash, r.Flags = s.ID, s.Hash(), len(s.Flags)
	notices := append(rules.CheckDates(s, opt.Day), rules.Check(s, opt.Dictionary)...)
	if b, err := rules.Boundaries(s, opt.Dictionary); err == nil {
		r.boundaries(b)
		if opt.DB != nil {
			more, err := r.recorded(ctx, s, opt)
			if err != nil {
				return nil, fmt.Errorf("check rules against the store: %w", err)
			}
			notices = append(notices, more...)
		}
	}
	slices.SortStableFunc(notices, func(a, b rules.Notice) int { return int(a.Severity) - int(b.Severity) })
	for _, n := range notices {
		r.add(Notice{Severity: n.Severity.String(), Kind: string(n.Kind), Line: n.Pos.Line, Column: n.Pos.Column,
			Flag: n.Flag, Other: n.Other, Text: n.Text, Remedy: n.Remedy})
	}
	return r, nil
}

// unreadable turns the problems of reading into notices; false for any other error.
func (r *Result) unreadable(err error) bool {
	var all strict.Problems
	var one *strict.Problem
	switch {
	case errors.As(err, &all):
	case errors.As(err, &one):
		all = strict.Problems{one}
	default:
		return false
	}
	for _, p := range all {
		text := "expected " + p.Expected
		if p.Path != "" {
			text = p.Path + ": " + text
		}
		if p.Found != "" {
			text += ", found " + p.Found
		}
		r.add(Notice{Severity: rules.Wrong.String(), Kind: Unreadable, Line: p.Line, Column: p.Column, Text: text, Remedy: p.Remedy})
	}
	return true
}

func (r *Result) add(n Notice) {
	switch n.Severity {
	case rules.Wrong.String():
		r.Wrong++
	case rules.Doubtful.String():
		r.Doubtful++
	default:
		r.Notes++
	}
	r.Notices = append(r.Notices, n)
}

func (r *Result) boundaries(list []rules.Boundary) {
	for _, b := range list {
		one := Boundary{Flag: b.Flag, Condition: b.Condition, Line: b.Pos.Line}
		for _, x := range b.Readings {
			one.Readings = append(one.Readings, Reading{Reading: x.Text, Meets: x.Meets, Possible: x.Possible})
		}
		r.Boundaries = append(r.Boundaries, one)
	}
}

// recorded tries the flags on the records of the review's period.
func (r *Result) recorded(ctx context.Context, s *rules.Set, opt Options) ([]rules.Notice, error) {
	p, err := rules.Compile(s, opt.Dictionary)
	if err != nil {
		return nil, err
	}
	scope, err := review.DefaultPeriod(ctx, opt.DB, opt.Review)
	if err != nil {
		return nil, err
	}
	rows, err := opt.DB.RuleUses(ctx, scope, p)
	if err != nil {
		return nil, err
	}
	answers, err := opt.DB.FindingAnswers(ctx, scope)
	if err != nil {
		return nil, err
	}
	r.Recorded = &Recorded{From: queries.FormatMonth(scope.From), To: queries.FormatMonth(scope.To)}
	uses := make([]rules.Use, len(s.Flags))
	for _, row := range rows {
		if row.Flag == 0 {
			r.Recorded.Episodes += row.Fired + row.Unknown + row.RuledOut
		}
		if f := s.Flags[row.Flag]; len(f.Species) == 0 || slices.Contains(f.Species, row.Species) {
			u := &uses[row.Flag]
			u.Fired, u.Unknown, u.RuledOut = u.Fired+row.Fired, u.Unknown+row.Unknown, u.RuledOut+row.RuledOut
		}
	}
	var asked []rules.Asked
	for _, a := range answers {
		asked = append(asked, rules.Asked{Finding: opt.DB.Meta().Findings[a.Finding].ID, Species: a.Species, Answered: a.Answered, Episodes: a.Episodes})
	}
	return rules.CheckRecorded(s, uses, asked), nil
}
