// Package rules reads an advice line's rules file and says, for a record, which
// red flags fire, which cannot be decided, and what level the rules demand.
//
// A flag is a conjunction: it fires when every condition on findings and every
// limit (species, sex, neutered, age, breed group, complaint) is true. One that
// is false rules it out; otherwise any that is unknown (not assessed in any way,
// not readable, sex or age or breed not recorded) makes the flag unknown. A
// record therefore has three rule levels: Low counts fired flags only, Level
// adds the unknown flags whose when_unknown is raise, High adds all unknown
// flags. A record on which nothing that the rules ask about was assessed, or of
// a species no flag is meant for, is undetermined: it has no level, not the
// lowest one.
//
// The flow is
//
//	Load or Parse      file -> Set           every mistake with its place
//	Compile            Set + dictionary -> Program
//	Program.Eval       one record, in Go, without allocation
//	Select             the same for a whole table, as SQL for DuckDB
//	Check, Diff        what is odd in a set; what changed between two
//
// Eval and Select give the same answer; a test holds them to it. The package
// never opens a database.
package rules

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"time"

	"hindcheck/pipeline/codes"
)

// Set is one rules file.
type Set struct {
	// File is the name the set was read under, for messages.
	File string `json:"-"`
	// ID is the ruleset's identifier, a new one for each version.
	ID string
	// Title, Owner, Reason (why this version exists) and Status (who approved
	// it, for what use) are shown with every result.
	Title, Owner, Reason, Status string
	// Effective is the first day in force; Expires the last, zero if open.
	Effective, Expires time.Time
	// Otherwise is the level of a record on which no flag fires.
	Otherwise codes.Level
	// Flags in the order of the file; a flag's place is its bit.
	Flags []Flag
	// HeadPos are the places of the keys above the flags, for messages.
	HeadPos map[string]Pos `json:"-"`
}

// Pos is a place in the rules file, counted from 1.
type Pos struct{ Line, Column int }

// Flag is one red flag.
type Flag struct {
	Pos Pos `json:"-"`
	// ID names the flag for good; Title and Why are in plain words.
	ID, Title, Why string
	// Demands is the level that the flag demands when it fires.
	Demands codes.Level
	// Raise says that the flag counts when it is unknown (when_unknown: raise).
	Raise bool
	// Limits by attribute; an empty list does not limit.
	Species, Sex, Neutered, BreedGroup, Complaint []string
	// Age limits the age in months.
	Age AgeSpan
	// All are the conditions on findings, at least one.
	All []Condition
}

// AgeSpan is a span of ages in whole months, AtLeast included and Below not. A
// negative end does not limit.
type AgeSpan struct{ AtLeast, Below int }

// Limits reports whether the span limits at all.
func (a AgeSpan) Limits() bool { return a.AtLeast >= 0 || a.Below >= 0 }

// Condition is one line of a flag: codes of a coded finding, or bounds of a number.
type Condition struct {
	Pos     Pos `json:"-"`
	Finding string
	// Is or IsNot lists codes; at most one of them is set.
	Is, IsNot []string
	// Lower and Upper bound a number; a missing one has an empty Text.
	Lower, Upper Bound
}

// Bound is one end of a threshold, in the finding's unit.
type Bound struct {
	// Text is the number as written in the file, kept because 40.5 degrees
	// must compare exactly with stored tenths.
	Text string
	// Inclusive is true for at_least and at_most: a reading equal to the
	// bound counts.
	Inclusive bool
}

// Set reports whether there is a bound.
func (b Bound) Set() bool { return b.Text != "" }

// Hash returns the SHA-256, in hexadecimal, of all that the set says, whatever
// the layout of the file.
func (s *Set) Hash() string {
	data, err := json.Marshal(s)
	if err != nil { // no field can fail
		panic(err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// InForce reports whether the set is in force on the day that holds t.
func (s *Set) InForce(t time.Time) bool {
	return !t.Before(s.Effective) && (s.Expires.IsZero() || t.Before(s.Expires.AddDate(0, 0, 1)))
}

// Words returns how many 64-bit words the flags' bits take.
func (s *Set) Words() int { return (len(s.Flags) + 63) / 64 }
