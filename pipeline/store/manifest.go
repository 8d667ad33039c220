package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"time"
)

// FormatVersion is the version of the store's layout that this program writes
// and reads.
const FormatVersion = 3

const manifestName = "manifest.json"

// Part names of the store; each is a folder below it.
const (
	Current = "current"
	History = "history"
	Cases   = "cases"
	Aside   = "set_aside"
)

// File is one Parquet file of the store.
type File struct {
	// Path is relative to the store, with forward slashes.
	Path string `json:"path"`
	// Part is Current, History, Cases or Aside; Table is empty for the last two.
	Part  string `json:"part"`
	Table string `json:"table,omitempty"`
	// Month is yyyymm, the partition; 0 for files without one.
	Month int   `json:"month,omitempty"`
	Rows  int64 `json:"rows"`
	Bytes int64 `json:"bytes"`
	// SHA256 is the hash of the whole file in hex.
	SHA256 string `json:"sha256"`
}

// Sums accounts for every row of an export:
// New + Superseding + Unchanged + Older + Within + SetAside = Rows.
type Sums struct {
	Rows int64 `json:"rows_read"`
	// New rows have a key that the store did not hold.
	New int64 `json:"new"`
	// Superseding rows replace a stored row that an earlier export brought.
	Superseding int64 `json:"superseding"`
	// Unchanged rows say what the store already says.
	Unchanged int64 `json:"unchanged"`
	// Older rows come from an export older than what is stored.
	Older int64 `json:"older_than_stored"`
	// Within rows were superseded by another row of the same load.
	Within int64 `json:"superseded_within"`
	// SetAside rows were refused, each with its reason.
	SetAside int64 `json:"set_aside"`
}

// Add sums two accounts.
func (s *Sums) Add(o Sums) {
	s.Rows += o.Rows
	s.New += o.New
	s.Superseding += o.Superseding
	s.Unchanged += o.Unchanged
	s.Older += o.Older
	s.Within += o.Within
	s.SetAside += o.SetAside
}

// Balanced reports whether every row read is accounted for.
func (s Sums) Balanced() bool {
	return s.Rows == s.New+s.Superseding+s.Unchanged+s.Older+s.Within+s.SetAside
}

// Export is one file that a load has read.
type Export struct {
	// Name is the file's base name; folders may hold names of people.
	Name        string    `json:"name"`
	Record      string    `json:"record"`
	Source      string    `json:"source"`
	ContentHash string    `json:"content_sha256"`
	MappingHash string    `json:"mapping_sha256"`
	ExportedAt  time.Time `json:"exported_at"`
	Sums        Sums      `json:"sums"`
	// Notes counts what was repaired or noticed, by short code.
	Notes map[string]int64 `json:"notes,omitempty"`
	// RefusedOnly says that only rows were read that an earlier load had set
	// aside; a load of the whole export is still to come.
	RefusedOnly bool `json:"refused_only,omitempty"`
}

// Load is one change of the store.
type Load struct {
	No int `json:"no"`
	// At is when the load ran, UTC.
	At time.Time `json:"at"`
	// DataCut is the latest moment up to which any export of the store so far
	// was written; maturity is reckoned from it.
	DataCut time.Time `json:"data_cut"`
	Exports []Export  `json:"exports"`
	Sums    Sums      `json:"sums"`
	// Links counts outcomes by how they were linked.
	Links map[string]int64 `json:"links,omitempty"`
	// Unusual counts readings outside the usual range of well animals.
	Unusual []Unusual `json:"unusual,omitempty"`
}

// Definitions names the files under which cases were derived, by SHA-256. The
// texts lie under definitions/.
type Definitions struct {
	Dictionary string `json:"dictionary"`
	// DictionaryContent is the hash of the dictionary as it was understood: a
	// newer program may bring a longer built-in one under the same empty name.
	DictionaryContent string `json:"dictionary_content"`
	Rules             string `json:"rules"`
	CaseDefinition    string `json:"case_definition"`
	Strata            string `json:"strata"`
	// Privacy is the file that says how coarsely ages, weights and times are
	// kept; it is that of the first load.
	Privacy string `json:"privacy,omitempty"`
	// EpisodeHours is the window within which contacts form one episode.
	EpisodeHours int `json:"episode_hours"`
	// LinkHours is the window within which an outcome is linked by animal.
	LinkHours int `json:"link_hours"`
	// CasesFormat is the version of the derivation.
	CasesFormat int `json:"cases_format"`
}

// Erasure is one removal of all records of an animal or owner.
type Erasure struct {
	At time.Time `json:"at"`
	// AfterLoad is the latest load at that time: every state up to it lacks
	// the rows since.
	AfterLoad int    `json:"after_load"`
	Kind      string `json:"kind"`
	// Rows that went, present and superseded, by table.
	Rows map[string]int64 `json:"rows"`
}

// ErasedSince adds up the rows that erasures took from the state as of load n,
// by table; a superseded row may not have been part of it.
func (m *Manifest) ErasedSince(n int) map[string]int64 {
	out := map[string]int64{}
	for _, e := range m.Erasures {
		if e.AfterLoad >= n {
			for table, rows := range e.Rows {
				out[table] += rows
			}
		}
	}
	return out
}

// Manifest is the state of a store.
type Manifest struct {
	Format   int    `json:"format"`
	Software string `json:"software"`
	// KeyCheck is derived from the key of the pseudonyms, so that a wrong key
	// is noticed before anything is written; the key itself is nowhere.
	KeyCheck    string      `json:"key_check"`
	Definitions Definitions `json:"definitions"`
	Loads       []Load      `json:"loads"`
	// Erasures tell that records were removed on request, and of nobody whose.
	Erasures []Erasure `json:"erasures,omitempty"`
	Files    []File    `json:"files"`
}

// LastLoad is the number of the latest load, 0 for an empty store.
func (m *Manifest) LastLoad() int {
	if len(m.Loads) == 0 {
		return 0
	}
	return m.Loads[len(m.Loads)-1].No
}

// DataCut is the latest load's data cut.
func (m *Manifest) DataCut() time.Time {
	if len(m.Loads) == 0 {
		return time.Time{}
	}
	return m.Loads[len(m.Loads)-1].DataCut
}

// DataCutAt is the data cut as of load n.
func (m *Manifest) DataCutAt(n int) time.Time {
	var cut time.Time
	for _, l := range m.Loads {
		if l.No <= n {
			cut = l.DataCut
		}
	}
	return cut
}

// Has reports whether an export with this content and mapping was loaded as a
// whole, and by which load.
func (m *Manifest) Has(content, mapping string) (load int, ok bool) {
	for _, l := range m.Loads {
		for _, e := range l.Exports {
			if e.ContentHash == content && e.MappingHash == mapping && !e.RefusedOnly {
				return l.No, true
			}
		}
	}
	return 0, false
}

// Select lists the files of a part and table in path order.
func (m *Manifest) Select(part, table string) []File {
	var out []File
	for _, f := range m.Files {
		if f.Part == part && f.Table == table {
			out = append(out, f)
		}
	}
	return out
}

// sortFiles puts files in path order, so that equal states give equal bytes.
func (m *Manifest) sortFiles() {
	sort.Slice(m.Files, func(i, j int) bool { return m.Files[i].Path < m.Files[j].Path })
}

// FormatError says that a store was written by another version of the layout.
type FormatError struct {
	Dir           string
	Found, Wanted int
}

func (e *FormatError) Error() string {
	if e.Found > e.Wanted {
		return fmt.Sprintf("%s: the store has format %d and this program knows format %d; use the newer program that wrote it", e.Dir, e.Found, e.Wanted)
	}
	return fmt.Sprintf("%s: the store has format %d and this program writes format %d; load the exports again into an empty folder", e.Dir, e.Found, e.Wanted)
}

// ErrNoStore is returned where a folder holds no store.
var ErrNoStore = errors.New("no store")

// readManifest reads the manifest of dir; ErrNoStore if there is none.
func readManifest(dir string) (*Manifest, error) {
	path := filepath.Join(dir, manifestName)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s: %w here; make one with: ingest load --store %s EXPORTS", dir, ErrNoStore, dir)
	}
	if err != nil {
		return nil, fmt.Errorf("read manifest: %w", err)
	}
	var head struct {
		Format int `json:"format"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return nil, fmt.Errorf("%s: expected a manifest in JSON: %w; restore it from a backup of the store", path, err)
	}
	if head.Format != FormatVersion {
		return nil, &FormatError{Dir: dir, Found: head.Format, Wanted: FormatVersion}
	}
	m := new(Manifest)
	if err := json.Unmarshal(data, m); err != nil {
		return nil, fmt.Errorf("%s: expected a manifest of format %d: %w; restore it from a backup of the store", path, FormatVersion, err)
	}
	return m, nil
}

// encode writes the manifest as it lies on disk.
func (m *Manifest) encode() ([]byte, error) {
	m.sortFiles()
	data, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return nil, fmt.Errorf("encode manifest: %w", err)
	}
	return append(data, '\n'), nil
}
