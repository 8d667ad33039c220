package inspect

import (
	"bufio"
	"bytes"
	"strings"

	"github.com/go-json-experiment/json/jsontext"

	"hindcheck/pipeline/tabular"
)

// json proposes a kind for text that begins as JSON does: records one a line,
// or a list of records at some depth.
func (p *Proposal) json(data []byte) bool {
	text := tabular.Trim(data)
	switch {
	case text[0] == '[':
		p.Kind, p.Reasons["kind"] = "json", "the text begins with a list"
		return true
	case text[0] != '{':
		return false
	}
	line, rest, _ := bytes.Cut(text, []byte{'\n'})
	rest = tabular.Trim(rest)
	if jsontext.Value(tabular.Trim(line)).IsValid(jsontext.AllowDuplicateNames(true)) && (len(rest) == 0 || rest[0] == '{') {
		if _, ok := listIn(text); len(rest) > 0 || !ok {
			p.Kind, p.Reasons["kind"] = "ndjson", "each line is one JSON record"
			return true
		}
	}
	if path, ok := listIn(text); ok {
		p.Kind, p.Records, p.Reasons["kind"] = "json", path, "a list of records stands below "+path
		return true
	}
	return false
}

// listIn finds the first list of records in a document and the path of keys to it.
func listIn(text []byte) (path string, ok bool) {
	d := jsontext.NewDecoder(bytes.NewReader(text), jsontext.AllowDuplicateNames(true))
	for {
		t, err := d.ReadToken()
		if err != nil {
			return "", false
		}
		if t.Kind() == '[' && d.PeekKind() == '{' {
			return pathOf(d), true
		}
	}
}

// pathOf writes the place of the decoder as keys with dots between them.
func pathOf(d *jsontext.Decoder) string {
	var names []string
	for name := range d.StackPointer().Tokens() {
		names = append(names, name)
	}
	return strings.Join(names, ".")
}

// maxKeys bounds the columns of a JSON file.
const maxKeys = 2000

// keys lists the columns of a JSON file in the order in which they appear:
// keys of single values, with dots between those of groups. Other kinds of
// files state their columns and give none.
func keys(path string, p Proposal) ([]string, error) {
	if p.Kind != "json" && p.Kind != "ndjson" {
		return nil, nil
	}
	t, err := tabular.OpenText(path, p.Encoding)
	if err != nil {
		return nil, err
	}
	defer t.Close()
	k := &keyList{seen: map[string]bool{}, under: p.Records}
	if p.Kind == "ndjson" {
		in := bufio.NewScanner(t)
		in.Buffer(nil, maxLine)
		for in.Scan() {
			// A broken line ends only itself; reading the rows will count it.
			_ = k.value(jsontext.NewDecoder(bytes.NewReader(in.Bytes()), jsontext.AllowDuplicateNames(true)), 0, "")
		}
		return k.names, nil
	}
	// Broken syntax ends the search; reading the rows will say where it is.
	_ = k.value(jsontext.NewDecoder(t, jsontext.AllowDuplicateNames(true)), 0, "")
	return k.names, nil
}

// maxLine is the longest line of a record of JSON in bytes.
const maxLine = 16 << 20

type keyList struct {
	names []string
	seen  map[string]bool
	under string // path to the records
}

// value walks one value; place is its path of keys from the top.
func (k *keyList) value(d *jsontext.Decoder, lists int, place string) error {
	switch d.PeekKind() {
	case '{':
		return k.group(d, lists, place)
	case '[':
		if place != k.under || lists > 0 {
			return d.SkipValue() // a list within a record is no cell
		}
		if _, err := d.ReadToken(); err != nil {
			return err
		}
		for d.PeekKind() != ']' {
			if err := k.value(d, 1, ""); err != nil {
				return err
			}
		}
		_, err := d.ReadToken()
		return err
	}
	if err := d.SkipValue(); err != nil {
		return err
	}
	if place != "" && (lists > 0 || k.under == "") && !k.seen[place] && len(k.names) < maxKeys {
		k.seen[place] = true
		k.names = append(k.names, place)
	}
	return nil
}

func (k *keyList) group(d *jsontext.Decoder, lists int, place string) error {
	if _, err := d.ReadToken(); err != nil {
		return err
	}
	for d.PeekKind() != '}' {
		name, err := d.ReadToken()
		if err != nil {
			return err
		}
		below := name.String()
		if place != "" {
			below = place + "." + below
		}
		if err := k.value(d, lists, below); err != nil {
			return err
		}
	}
	_, err := d.ReadToken()
	return err
}
