package pipeline

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/store"
	"hindcheck/pipeline/tabular"
)

// MaxLookup is how many pseudonyms can be looked up at once: enough for an
// audit sheet or a case discussion, too few to undo the pseudonyms of a store.
const MaxLookup = 200

// LookupOptions say what to look for and where.
type LookupOptions struct {
	// Store is the store that the pseudonyms come from; its key is checked.
	Store string
	// Exports and Sources are as for a load; only calls are searched.
	Exports, Sources []string
	Key              privacy.Key
	// Pseudonyms of calls or episodes, as UUIDs.
	Pseudonyms []string
}

// Lookup is one call found in an export.
type Lookup struct {
	Pseudonym string `json:"pseudonym"`
	// Call is the call system's own number, with the line where there is one.
	Call string `json:"call"`
	File string `json:"file"`
	Row  int64  `json:"row"`
}

// LookUp finds the call numbers of some pseudonyms by reading the original
// export again under the key. Nothing is kept. A pseudonym that no row has is
// returned with an empty Call, in the order of the request.
func LookUp(ctx context.Context, opt LookupOptions) ([]Lookup, error) {
	want, err := parsePseudonyms(opt.Pseudonyms)
	if err != nil {
		return nil, err
	}
	dict, err := checkLookupKey(opt)
	if err != nil {
		return nil, err
	}
	descs, err := readSources(opt.Sources, dict)
	if err != nil {
		return nil, err
	}
	descs = slices.DeleteFunc(descs, func(d *source.Description) bool { return d.Record() != "calls" })
	exports, err := matchExports(opt.Exports, descs, false)
	if err != nil {
		return nil, err
	}
	found := map[[16]byte]Lookup{}
	for _, e := range exports {
		if err := lookInto(ctx, e, opt.Key, want, found); err != nil {
			return nil, err
		}
	}
	out := make([]Lookup, len(opt.Pseudonyms))
	for i, p := range opt.Pseudonyms {
		id, _ := parsePseudonym(p)
		out[i] = found[id]
		out[i].Pseudonym = p
	}
	return out, nil
}

// checkLookupKey refuses a key other than the store's, under which nothing
// could be found, and returns the store's dictionary.
func checkLookupKey(opt LookupOptions) (*findings.Dictionary, error) {
	s, err := store.Open(opt.Store)
	if err != nil {
		return nil, fmt.Errorf("lookup: %w", err)
	}
	defer s.Close()
	if s.Manifest.KeyCheck != opt.Key.Check() {
		return nil, fmt.Errorf("lookup in %s: %w", opt.Store, ErrKeyMismatch)
	}
	defs, err := StoredDefinitions(s)
	if err != nil {
		return nil, err
	}
	return defs.Dictionary, nil
}

func parsePseudonyms(list []string) (map[[16]byte]bool, error) {
	if len(list) == 0 || len(list) > MaxLookup {
		return nil, fmt.Errorf("lookup: expected 1 to %d pseudonyms, found %d", MaxLookup, len(list))
	}
	out := map[[16]byte]bool{}
	for _, p := range list {
		id, err := parsePseudonym(p)
		if err != nil {
			return nil, err
		}
		out[id] = true
	}
	return out, nil
}

func parsePseudonym(text string) (id [16]byte, err error) {
	raw, err := hex.DecodeString(strings.ReplaceAll(text, "-", ""))
	if err != nil || len(raw) != len(id) {
		return id, fmt.Errorf("lookup: expected a pseudonym such as 6f1c2d3e-0000-0000-0000-000000000000, found text of %d characters", len(text))
	}
	return [16]byte(raw), nil
}

// lookInto reads one export and notes the rows whose call has a wanted pseudonym.
func lookInto(ctx context.Context, e reading, key privacy.Key, want map[[16]byte]bool, found map[[16]byte]Lookup) error {
	at := slices.IndexFunc(e.desc.Columns, func(c source.Column) bool { return c.Target.Name == "call" })
	rd, err := tabular.Open(e.path, e.desc.Format)
	if err != nil {
		return err
	}
	defer rd.Close()
	var places []int
	sets := e.desc.Columns[at].From
	for _, set := range sets {
		for _, name := range set {
			i := source.FindColumn(rd.Header(), name)
			if len(i) != 1 {
				return fmt.Errorf("%s: expected one column %q of the call number, found %d; check the source description", filepath.Base(e.path), name, len(i))
			}
			places = append(places, i[0])
		}
	}
	rd.Select(places)
	batch := new(tabular.Batch)
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := rd.Next(batch); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		for r, row := range batch.Rows {
			parts := keyParts(batch, sets, r, e.desc.Blanks)
			if parts == nil {
				continue
			}
			id := key.Pseudonym("call", string(joinKey(parts)))
			if want[id] {
				found[id] = Lookup{Call: string(bytes.Join(parts, []byte(" "))), File: filepath.Base(e.path), Row: row}
			}
		}
	}
}

// joinKey makes one value of a key's parts, as reading does.
func joinKey(parts [][]byte) []byte {
	if len(parts) == 1 {
		return parts[0]
	}
	return privacy.Join(nil, parts...)
}

// keyParts returns the cells of the first set of columns that is filled, or
// nil; the cells are those from which reading makes the key.
func keyParts(b *tabular.Batch, sets [][]string, row int, blanks []string) [][]byte {
	col := 0
	for _, set := range sets {
		var parts [][]byte
		for range set {
			cell := tabular.Trim(b.Cell(b.Column(col)[row]))
			col++
			if len(cell) > 0 && !slices.ContainsFunc(blanks, func(b string) bool { return source.Fold(b) == source.Fold(string(cell)) }) {
				parts = append(parts, cell)
			}
		}
		if len(parts) == len(set) {
			return parts
		}
	}
	return nil
}
