package strict

import (
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"hindcheck/pipeline/codes"
)

// Map is a group of keys.
type Map struct {
	at   Node
	keys []string
	vals map[string]Node
}

// Map reads a group of keys, of which only those named are allowed. Unknown
// and repeated keys are problems.
func (n Node) Map(allowed ...string) Map {
	m := n.open("the keys " + strings.Join(allowed, ", "))
	for _, k := range m.keys {
		if !slices.Contains(allowed, k) {
			v := m.vals[k]
			v.doc.add(&Problem{File: v.doc.file, Line: m.keyLine(k).Line, Column: m.keyLine(k).Column, Path: n.path,
				Expected: "one of the keys " + strings.Join(allowed, ", "), Found: strconv.Quote(clip(k)),
				Remedy: nearest(k, allowed)})
		}
	}
	return m
}

// AnyMap reads a group of keys that the user chooses, such as species.
func (n Node) AnyMap() Map { return n.open("a group of keys") }

func (n Node) open(want string) Map {
	m := Map{at: n, vals: map[string]Node{}}
	if n.y == nil {
		return m
	}
	if n.y.Kind != yaml.MappingNode {
		n.Fail(want, n.found(), "write key: value lines")
		return m
	}
	for i := 0; i+1 < len(n.y.Content); i += 2 {
		k, v := n.y.Content[i], n.y.Content[i+1]
		key := Node{doc: n.doc, y: k, path: n.path}
		if k.Kind != yaml.ScalarNode || k.Tag == "!!null" {
			key.Fail("a key", key.found(), "write key: value")
			continue
		}
		if _, dup := m.vals[k.Value]; dup {
			key.Fail("each key once", strconv.Quote(clip(k.Value))+" again", "delete one of them")
			continue
		}
		m.keys = append(m.keys, k.Value)
		m.vals[k.Value] = Node{doc: n.doc, y: v, path: strings.TrimPrefix(n.path+"."+pathKey(k.Value), ".")}
	}
	return m
}

// pathKey is a key as a message shows it: quoted unless it is an identifier.
func pathKey(k string) string {
	if codes.ValidID(k) {
		return k
	}
	return strconv.Quote(clip(k))
}

// keyLine returns the node of a key, for its place.
func (m Map) keyLine(key string) *yaml.Node {
	for i := 0; i+1 < len(m.at.y.Content); i += 2 {
		if m.at.y.Content[i].Value == key {
			return m.at.y.Content[i]
		}
	}
	return m.at.y
}

// Keys returns the keys in the order of the file.
func (m Map) Keys() []string { return m.keys }

// Get returns the value of a key, the zero Node if it is left out. A key
// without a value is the same as one left out only for the caller who checks
// Exists; reading it is a problem.
func (m Map) Get(key string) Node { return m.vals[key] }

// Has reports whether the key stands in the file.
func (m Map) Has(key string) bool { _, ok := m.vals[key]; return ok }

// Need returns the value of a key that must be there.
func (m Map) Need(key string) Node {
	n, ok := m.vals[key]
	if !ok && m.at.y != nil && m.at.y.Kind == yaml.MappingNode {
		m.at.Fail("the key "+key, "none", "add "+key+": here")
	}
	return n
}

// At returns the node of the group, for a problem that concerns all of it.
func (m Map) At() Node { return m.at }

// nearest words a remedy for an unknown key: the allowed key that looks most
// like it, or the plain advice.
func nearest(key string, allowed []string) string {
	best, bestD := "", 3
	for _, a := range allowed {
		if d := distance(strings.ToLower(key), a); d < bestD {
			best, bestD = a, d
		}
	}
	if best != "" {
		return "did you mean " + best + "?"
	}
	return "delete it or correct its name"
}

// distance is the number of letters to insert, delete or replace (Levenshtein
// 1966), given up above a length that no key has.
func distance(a, b string) int {
	if len(a) > 40 || len(b) > 40 {
		return 99
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		prev := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			prev, row[j+1] = row[j+1], min(prev+cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
