package rules

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"

	"hindcheck/pipeline/findings"
)

// Move is a threshold to be written into a rules file: at_least At (Lower) or
// at_most At, in the finding's unit.
type Move struct {
	// Flag and Condition are places in the set and in the flag, from 0.
	Flag, Condition int
	Lower           bool
	At              string
}

// Propose writes a new version of a rules file in which only the thresholds of
// moves differ. The text keeps its comments, order and layout: the numbers are
// replaced where they stand. The new version has the given id; owner, reason and
// status become drafts (see Draft), which Check refuses until somebody has written
// them.
//
// An error means that the text could not be changed safely, for instance because
// it is laid out in an unusual way; nothing else than the stated changes ever
// comes out.
func Propose(file string, text []byte, id string, moves []Move, d *findings.Dictionary) ([]byte, error) {
	old, err := Parse(file, text)
	if err != nil {
		return nil, err
	}
	plain := bytes.TrimPrefix(text, []byte("\ufeff"))
	e, err := newEditor(plain)
	if err != nil {
		return nil, fmt.Errorf("propose rules: %w", err)
	}
	for _, m := range moves {
		if err := e.move(m); err != nil {
			return nil, fmt.Errorf("propose rules: %w", err)
		}
	}
	for _, h := range []struct{ key, text string }{
		{"ruleset", id}, {"owner", Draft + " (who proposes this)"}, {"reason", Draft + " (why the thresholds should move)"},
		{"status", Draft + " (who approved it, for what use)"},
	} {
		if err := e.head(h.key, h.text); err != nil {
			return nil, fmt.Errorf("propose rules: %w", err)
		}
	}
	out := append(slices.Clone(text[:len(text)-len(plain)]), e.text()...)
	if err := provePropose(file, old, out, id, moves, d); err != nil {
		return nil, fmt.Errorf("propose rules: this layout cannot be edited safely (%w); write the threshold by hand", err)
	}
	return out, nil
}

// provePropose reads the new text back and compares it with what was asked for.
func provePropose(file string, old *Set, text []byte, id string, moves []Move, d *findings.Dictionary) error {
	got, err := Parse(file, text)
	if err != nil {
		return err
	}
	if got.ID != id || len(got.Flags) != len(old.Flags) {
		return fmt.Errorf("expected ruleset %s with %d flags, found %s with %d", id, len(old.Flags), got.ID, len(got.Flags))
	}
	want := map[string]bool{}
	for _, m := range moves {
		want[old.Flags[m.Flag].ID] = true
		c := got.Flags[m.Flag].All[m.Condition]
		b := c.Upper
		if m.Lower {
			b = c.Lower
		}
		if b.Text != m.At || !b.Inclusive {
			return fmt.Errorf("the threshold of %s reads %s", old.Flags[m.Flag].ID, c.String())
		}
	}
	for _, c := range DiffIn(old, got, d) {
		if c.Flag != "" && !want[c.Flag] || c.Flag == "" && !slices.Contains([]string{"ruleset", "owner", "reason", "status"}, c.Part) {
			return fmt.Errorf("%s %s would change as well", c.Flag, c.Part)
		}
	}
	return nil
}

// editor holds the lines of a rules file and its nodes, whose places say where
// each value stands. Changes are made from the end of the file upwards, so that
// places before them stay true.
type editor struct {
	lines   []string
	root    *yaml.Node
	changes []change
}

// change replaces the lines from line to last, or if column is set, runes of one line.
type change struct {
	line, last    int
	column, width int
	text          string
	wholeLines    bool
}

func newEditor(text []byte) (*editor, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal(text, &doc); err != nil {
		return nil, err
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		return nil, fmt.Errorf("expected a group of keys at the top")
	}
	return &editor{lines: strings.SplitAfter(string(text), "\n"), root: doc.Content[0]}, nil
}

// entry finds a key of a group with its value.
func entry(m *yaml.Node, key string) (k, v *yaml.Node) {
	for i := 0; i+1 < len(m.Content); i += 2 {
		if m.Content[i].Value == key {
			return m.Content[i], m.Content[i+1]
		}
	}
	return nil, nil
}

// move replaces the key and the number of one bound.
func (e *editor) move(m Move) error {
	_, flags := entry(e.root, "flags")
	if flags == nil || m.Flag >= len(flags.Content) {
		return fmt.Errorf("no flag %d", m.Flag+1)
	}
	_, all := entry(flags.Content[m.Flag], "all")
	if all == nil || m.Condition >= len(all.Content) {
		return fmt.Errorf("flag %d has no condition %d", m.Flag+1, m.Condition+1)
	}
	keys, to := []string{"at_most", "below"}, "at_most"
	if m.Lower {
		keys, to = []string{"at_least", "above"}, "at_least"
	}
	for _, key := range keys {
		if k, v := entry(all.Content[m.Condition], key); v != nil {
			e.replace(k, to)
			e.replace(v, m.At)
			return nil
		}
	}
	return fmt.Errorf("condition %d of flag %d has no such end", m.Condition+1, m.Flag+1)
}

// replace changes a plain value on one line.
func (e *editor) replace(n *yaml.Node, text string) {
	e.changes = append(e.changes, change{line: n.Line - 1, last: n.Line - 1, column: n.Column - 1, width: utf8.RuneCountInString(n.Value), text: text})
}

// head replaces the value of a key above the flags, however many lines it takes.
func (e *editor) head(key, text string) error {
	k, v := entry(e.root, key)
	if v == nil || k.Column != 1 || e.root.Style&yaml.FlowStyle != 0 {
		return fmt.Errorf("the key %s does not stand at the start of a line", key)
	}
	last := k.Line - 1
	for next := last + 1; next < len(e.lines); next++ {
		line := e.lines[next]
		if trimmed := strings.TrimSpace(line); trimmed != "" && line[0] != ' ' && line[0] != '\t' {
			break
		} else if trimmed != "" {
			last = next
		}
	}
	e.changes = append(e.changes, change{line: k.Line - 1, last: last, wholeLines: true, text: key + ": " + text + "\n"})
	return nil
}

// text applies the changes, the last place first.
func (e *editor) text() []byte {
	slices.SortFunc(e.changes, func(a, b change) int {
		if a.line != b.line {
			return b.line - a.line
		}
		return b.column - a.column
	})
	lines := slices.Clone(e.lines)
	for _, c := range e.changes {
		if c.wholeLines {
			lines = slices.Replace(lines, c.line, c.last+1, c.text)
			continue
		}
		r := []rune(lines[c.line])
		from, to := min(c.column, len(r)), min(c.column+c.width, len(r))
		lines[c.line] = string(r[:from]) + c.text + string(r[to:])
	}
	return []byte(strings.Join(lines, ""))
}
