package strict

import (
	"fmt"
	"strings"
)

// Problem is one mistake in a settings file, with its place and its remedy.
type Problem struct {
	File string
	// Line and Column count from 1; Column is 0 where only the line is known
	// and both are 0 for a mistake that has no place, such as an empty file.
	Line, Column int
	// Path leads to the value from the top of the file: flags[3].all[0].is.
	Path string
	// Expected and Found say what should stand there and what does.
	Expected, Found string
	// Remedy says what to do.
	Remedy string
}

// Error puts the problem on one line: place, path, expected, found; remedy.
func (p *Problem) Error() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d", p.Line)
	}
	if p.Column > 0 {
		fmt.Fprintf(&b, ":%d", p.Column)
	}
	if p.Path != "" {
		b.WriteString(": " + p.Path)
	}
	b.WriteString(": expected " + p.Expected)
	if p.Found != "" {
		b.WriteString(", found " + p.Found)
	}
	if p.Remedy != "" {
		b.WriteString("; " + p.Remedy)
	}
	return b.String()
}

// Problems is every mistake found in one file, in the order of reading. It is
// the error that readers of settings files return; errors.As reaches both it
// and a single *Problem.
type Problems []*Problem

// maxShown is how many problems one message lists; the rest are counted.
const maxShown = 20

// Error lists the problems, one a line.
func (ps Problems) Error() string {
	var b strings.Builder
	for i, p := range ps {
		if i == maxShown {
			fmt.Fprintf(&b, "\nand %d more", len(ps)-maxShown)
			break
		}
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(p.Error())
	}
	return b.String()
}

// Unwrap gives errors.As the single problems.
func (ps Problems) Unwrap() []error {
	errs := make([]error, len(ps))
	for i, p := range ps {
		errs[i] = p
	}
	return errs
}
