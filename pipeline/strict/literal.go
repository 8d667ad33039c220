package strict

import "strconv"

// Literal reads a single value as it is written, whatever YAML takes it for: a
// word of an export such as "", "-", 0, true or a tab. ok is false when the
// node is missing, a list or a group of keys.
func (n Node) Literal() (value string, ok bool) {
	if n.y == nil {
		return "", false
	}
	if !n.scalar() {
		n.Fail("a single value", n.found(), "write one value, in quotes if it is blank")
		return "", false
	}
	return n.y.Value, true
}

// IsList reports whether the value is a list.
func (n Node) IsList() bool { return n.y != nil && n.found() == "a list" }

// IsGroup reports whether the value is a group of keys.
func (n Node) IsGroup() bool { return n.y != nil && n.found() == "a group of keys" }

// Quote shows a piece of the file in a message, shortened.
func Quote(s string) string { return strconv.Quote(clip(s)) }
