// Package strict reads settings files in YAML in which every key must be
// known, every value must be of the stated kind, and every mistake is reported
// with its line and column, what was expected and what to do.
//
// It exists because a mistyped key in a rules file must never be ignored, and
// because the YAML decoder forgets its strictness below the first custom type
// and takes .nan and .inf for numbers. Files are therefore walked node by node:
//
//	doc, top := strict.Parse(name, data)
//	m := top.Map("ruleset", "title", "flags")   // any other key is a problem
//	title := m.Need("title").Text()
//	for _, n := range m.Need("flags").List() { ... }
//	if err := doc.Err(); err != nil { ... }     // all problems at once
//
// A read that fails notes the problem and returns a zero value, so a reader
// goes on and reports everything in one pass. Aliases, merges, several
// documents in one file and control characters are refused: settings are read
// by people, and what they see must be what counts.
package strict

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// maxFile bounds a settings file, in bytes; 10,000 flags take about 4 MB.
const maxFile = 16 << 20

// maxProblems bounds the list, so that a file of another kind ends quickly.
const maxProblems = 200

// Doc is one file being read and the problems found so far.
type Doc struct {
	file     string
	problems Problems
}

// Err returns every problem found, as Problems, or nil.
func (d *Doc) Err() error {
	if len(d.problems) == 0 {
		return nil
	}
	return d.problems
}

// File returns the name under which the file was opened.
func (d *Doc) File() string { return d.file }

func (d *Doc) add(p *Problem) {
	if len(d.problems) < maxProblems {
		d.problems = append(d.problems, p)
	}
}

// ReadFile reads a settings file whole and refuses one above 16 MB.
func ReadFile(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxFile+1))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	if len(data) > maxFile {
		return nil, &Problem{File: path, Expected: "a settings file of at most 16 MB", Found: "a larger file",
			Remedy: "check that this is the file you meant"}
	}
	return data, nil
}

// Parse reads one YAML document. It never fails at once: a file that is no
// YAML gives a Doc with a problem and a Node on which every read returns a
// zero value without a further problem.
func Parse(file string, data []byte) (*Doc, Node) {
	d := &Doc{file: file}
	root, err := decode(data)
	if err != nil {
		d.add(d.syntax(err))
		return d, Node{doc: d}
	}
	n := Node{doc: d, y: root}
	n.refuseAliases(root)
	if d.Err() != nil {
		return d, Node{doc: d}
	}
	return d, n
}

var errEmpty = errors.New("empty")
var errSecond = errors.New("second document")

// decode returns the root of the only document. The recover guards against a
// panic inside the YAML library, which reads whatever a user hands us.
func decode(data []byte) (root *yaml.Node, err error) {
	defer func() {
		if r := recover(); r != nil {
			root, err = nil, fmt.Errorf("yaml: not readable: %v", r)
		}
	}()
	dec := yaml.NewDecoder(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	var doc yaml.Node
	if err := dec.Decode(&doc); err != nil {
		if errors.Is(err, io.EOF) {
			return nil, errEmpty
		}
		return nil, err
	}
	if len(doc.Content) != 1 {
		return nil, errEmpty
	}
	var next yaml.Node
	switch err := dec.Decode(&next); {
	case err == nil:
		return nil, errSecond
	case !errors.Is(err, io.EOF):
		return nil, err
	}
	return doc.Content[0], nil
}

var yamlLine = regexp.MustCompile(`line (\d+): `)

// syntax turns an error of the YAML library into a Problem.
func (d *Doc) syntax(err error) *Problem {
	switch {
	case errors.Is(err, errEmpty):
		return &Problem{File: d.file, Expected: "settings in YAML", Found: "an empty file",
			Remedy: "write the settings, or name another file"}
	case errors.Is(err, errSecond):
		return &Problem{File: d.file, Expected: "one document in the file", Found: "a second one after ---",
			Remedy: "put it in a file of its own"}
	}
	p := &Problem{File: d.file, Expected: "YAML",
		Remedy: "look at the indentation, the quotes and the brackets at this place"}
	msg := strings.TrimPrefix(err.Error(), "yaml: ")
	if m := yamlLine.FindStringSubmatch(msg); m != nil {
		p.Line, _ = strconv.Atoi(m[1])
		msg = yamlLine.ReplaceAllString(msg, "")
	}
	p.Found = clip(strings.Join(strings.Fields(msg), " "))
	return p
}

// refuseAliases notes anchors, aliases, merge keys and own tags anywhere.
func (n Node) refuseAliases(y *yaml.Node) {
	bad := ""
	switch {
	case y.Kind == yaml.AliasNode:
		bad = "an alias"
	case y.Anchor != "":
		bad = "an anchor"
	case y.Tag == "!!merge":
		bad = "a merge key"
	case y.Style&yaml.TaggedStyle != 0:
		bad = "a tag"
	}
	if bad != "" {
		Node{doc: n.doc, y: y}.Fail("plain settings", bad, "write the value out")
		return
	}
	for _, c := range y.Content {
		n.refuseAliases(c)
	}
}

// clip shortens a piece of the file for a message.
func clip(s string) string {
	r := []rune(s)
	if len(r) > 60 {
		return string(r[:60]) + "..."
	}
	return s
}
