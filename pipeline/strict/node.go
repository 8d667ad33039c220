package strict

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"go.yaml.in/yaml/v3"

	"hindcheck/pipeline/codes"
)

// Node is one value of a file with its place. The zero Node stands for a value
// that is missing or already reported: reading it gives zero values.
type Node struct {
	doc  *Doc
	y    *yaml.Node
	path string
}

// Exists reports whether there is a value to read.
func (n Node) Exists() bool { return n.y != nil }

// Line returns the line of the value, 0 for a missing one.
func (n Node) Line() int {
	line, _ := n.Place()
	return line
}

// Place returns the line and column of the value, 0 for a missing one.
func (n Node) Place() (line, column int) {
	if n.y == nil {
		return 0, 0
	}
	return n.y.Line, n.y.Column
}

// Fail notes a problem at the node. On the zero Node it does nothing, since
// the reason why there is no value has been noted already.
func (n Node) Fail(expected, found, remedy string) {
	if n.y == nil {
		return
	}
	n.doc.add(&Problem{File: n.doc.file, Line: n.y.Line, Column: n.y.Column, Path: n.path,
		Expected: expected, Found: found, Remedy: remedy})
}

// found describes the value for a message.
func (n Node) found() string {
	switch n.y.Kind {
	case yaml.MappingNode:
		return "a group of keys"
	case yaml.SequenceNode:
		return "a list"
	}
	if n.y.Tag == "!!null" {
		return "nothing"
	}
	return strconv.Quote(clip(n.y.Value))
}

// scalar reports whether the node is a single value other than null.
func (n Node) scalar() bool { return n.y != nil && n.y.Kind == yaml.ScalarNode && n.y.Tag != "!!null" }

// maxText bounds one text, in bytes.
const maxText = 4000

// Text reads a text of at least one visible character. A number, date or
// true/false without quotes is a problem: what it means as text is not certain.
func (n Node) Text() string {
	if n.y == nil {
		return ""
	}
	switch {
	case !n.scalar():
		n.Fail("text", n.found(), "write the words after the colon")
	case n.y.Tag != "!!str":
		n.Fail("text", n.found(), "put it in quotes if text is meant")
	case strings.TrimSpace(n.y.Value) == "":
		n.Fail("text", "a blank", "write the words after the colon")
	case len(n.y.Value) > maxText:
		n.Fail(fmt.Sprintf("text of at most %d characters", maxText), fmt.Sprintf("%d", len(n.y.Value)), "shorten it")
	case strings.ContainsFunc(n.y.Value, hidden):
		n.Fail("visible characters", "a control character", "type the text anew")
	default:
		return strings.TrimSpace(n.y.Value)
	}
	return ""
}

// hidden reports characters that a reader of the file does not see or that
// reorder what he sees; a line break inside a folded text is fine.
func hidden(r rune) bool {
	return r != '\n' && unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r)
}

// ID reads an identifier: see codes.ValidID.
func (n Node) ID() string {
	s := n.Text()
	if s == "" {
		return ""
	}
	if !codes.ValidID(s) {
		n.Fail("an identifier of 1 to 48 characters a-z, 0-9 and _", n.found(), "use lower case and underscores")
		return ""
	}
	return s
}

// Word reads one word of a closed list.
func (n Node) Word(l codes.List) string {
	s := n.Text()
	if s == "" {
		return ""
	}
	if !l.Has(s) {
		n.Fail("one of "+l.String(), n.found(), "correct the word")
		return ""
	}
	return s
}

// Choice reads one of the given words.
func (n Node) Choice(words ...string) string {
	s := n.Text()
	if s == "" {
		return ""
	}
	if !slices.Contains(words, s) {
		n.Fail("one of "+strings.Join(words, ", "), n.found(), "correct the word")
		return ""
	}
	return s
}

// Level reads a triage level.
func (n Node) Level() codes.Level {
	w := n.Word(codes.Levels)
	if w == "" {
		return codes.NoLevel
	}
	l, _ := codes.ParseLevel(w) // Word has checked it
	return l
}

// Bool reads true or false.
func (n Node) Bool() bool {
	if n.y == nil {
		return false
	}
	if !n.scalar() || n.y.Tag != "!!bool" || n.y.Value != "true" && n.y.Value != "false" {
		n.Fail("true or false", n.found(), "write one of the two without quotes")
		return false
	}
	return n.y.Value == "true"
}

// decimal is a number as people write it; no octal, hexadecimal, sexagesimal,
// underscore, infinity or not-a-number, all of which YAML takes for numbers.
var decimal = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?$`)

// Number reads a finite decimal number. Text is the number as written, for
// those who need it exact; it is empty when the value is missing or wrong.
func (n Node) Number() (value float64, text string) {
	if n.y == nil {
		return 0, ""
	}
	const want, remedy = "a decimal number such as 40 or 2.5", "write it with a point and without quotes, unit or exponent"
	if !n.scalar() || n.y.Tag != "!!int" && n.y.Tag != "!!float" || !decimal.MatchString(n.y.Value) || len(n.y.Value) > 30 {
		n.Fail(want, n.found(), remedy)
		return 0, ""
	}
	v, err := strconv.ParseFloat(n.y.Value, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		n.Fail(want, n.found(), remedy)
		return 0, ""
	}
	return v, n.y.Value
}

// Int reads a whole number from low to high, both included.
func (n Node) Int(low, high int) int {
	if n.y == nil {
		return 0
	}
	if n.scalar() && n.y.Tag == "!!int" && decimal.MatchString(n.y.Value) {
		if v, err := strconv.Atoi(n.y.Value); err == nil && v >= low && v <= high {
			return v
		}
	}
	n.Fail(fmt.Sprintf("a whole number from %d to %d", low, high), n.found(), "correct the number")
	return low
}

// Date reads a calendar day, year-month-day, as midnight UTC.
func (n Node) Date() time.Time {
	if n.y == nil {
		return time.Time{}
	}
	if n.scalar() && (n.y.Tag == "!!timestamp" || n.y.Tag == "!!str") {
		if t, err := time.Parse(time.DateOnly, n.y.Value); err == nil {
			return t
		}
	}
	n.Fail("a day such as 2026-01-31", n.found(), "write year-month-day")
	return time.Time{}
}

// List reads a list of at least one value.
func (n Node) List() []Node {
	if n.y == nil {
		return nil
	}
	if n.y.Kind != yaml.SequenceNode {
		n.Fail("a list", n.found(), "write [a, b] or one line with a dash for each")
		return nil
	}
	if len(n.y.Content) == 0 {
		n.Fail("a list of at least one value", "an empty list", "fill it or leave the key out")
		return nil
	}
	out := make([]Node, len(n.y.Content))
	for i, c := range n.y.Content {
		out[i] = Node{doc: n.doc, y: c, path: fmt.Sprintf("%s[%d]", n.path, i)}
	}
	return out
}

// Each reads a list, or a single value as a list of one, with read; a value
// that stands twice is a problem.
func (n Node) Each(read func(Node) string) []string {
	if n.y == nil {
		return nil
	}
	items := []Node{n}
	if n.y.Kind == yaml.SequenceNode {
		items = n.List()
	}
	var out []string
	for _, item := range items {
		s := read(item)
		if s == "" {
			continue
		}
		if slices.Contains(out, s) {
			item.Fail("each value once", strconv.Quote(clip(s))+" again", "delete one of them")
			continue
		}
		out = append(out, s)
	}
	return out
}
