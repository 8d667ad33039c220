package pipeline

import (
	"fmt"
	"os"
	"slices"

	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/store"
	"hindcheck/pipeline/strata"
)

// Definitions are the files under which rows become cases and cases are
// judged, read and checked.
type Definitions struct {
	Dictionary *findings.Dictionary
	// Rules is nil where the line has recorded no rules.
	Rules   *rules.Set
	CaseDef *casedef.Definition
	Strata  *strata.Strata
	// Coarse says how coarsely ages, weights and times are kept.
	Coarse privacy.Coarsening
	// EpisodeHours and LinkHours are the windows of resolve.Settings.
	EpisodeHours, LinkHours int

	ids   store.Definitions
	texts [][]byte
	files []DefinitionText
}

// DefinitionText is one definition as it was read, for a reader who must know
// under which words a figure stands.
type DefinitionText struct {
	// Kind is findings dictionary, rules, case definition, strata or privacy.
	Kind string
	// ID is the definition's own name; a new version has a new one.
	ID string
	// Hash is the SHA-256 of Text in hex; for a built-in dictionary or strata,
	// which have no file, of what they hold.
	Hash string
	// Text is the file, empty where the definition is built in without one.
	Text    string
	BuiltIn bool
}

// Files are the definitions in the order dictionary, rules, case definition,
// strata, privacy; rules and privacy are left out where none are recorded.
func (d *Definitions) Files() []DefinitionText {
	out := make([]DefinitionText, 0, len(d.files))
	for _, f := range d.files {
		switch f.Kind {
		case "findings dictionary":
			f.ID = d.Dictionary.ID
			if f.BuiltIn {
				f.Hash = d.ids.DictionaryContent
			}
		case "rules":
			if d.Rules == nil {
				continue
			}
			f.ID = d.Rules.ID
		case "case definition":
			f.ID = d.CaseDef.ID
			if f.BuiltIn {
				f.Text = casedef.DefaultText()
				f.Hash = store.HashText([]byte(f.Text))
			}
		case "strata":
			f.ID = d.Strata.ID
			if f.BuiltIn {
				f.Hash = d.Strata.Hash()
			}
		case "privacy":
			if f.BuiltIn {
				continue
			}
			f.ID = d.Coarse.ID
		}
		out = append(out, f)
	}
	return out
}

// DefinitionFiles are the paths of definitions; an empty one means what the
// store was loaded with before, else the built-in one (for rules: none).
type DefinitionFiles struct {
	Dictionary, Rules, CaseDefinition, Strata, Privacy string
	// EpisodeHours and LinkHours of 0 mean those of the store, else 72 and 168.
	EpisodeHours, LinkHours int
}

const (
	defaultEpisodeHours = 72
	defaultLinkHours    = 168
)

// StoredDefinitions reads the definitions that a store was last loaded with.
func StoredDefinitions(s *store.Snapshot) (*Definitions, error) {
	return readDefinitions(DefinitionFiles{}, s.Manifest.Definitions, s.Definition)
}

// readDefinitions reads the named files, and the stored texts of those that
// are not named.
func readDefinitions(files DefinitionFiles, was store.Definitions, stored func(hash string) ([]byte, error)) (*Definitions, error) {
	d := &Definitions{EpisodeHours: first(files.EpisodeHours, was.EpisodeHours, defaultEpisodeHours),
		LinkHours: first(files.LinkHours, was.LinkHours, defaultLinkHours)}
	d.ids = store.Definitions{EpisodeHours: d.EpisodeHours, LinkHours: d.LinkHours}
	for _, one := range []struct {
		what, path, hash string
		id               *string
		parse            func(file string, text []byte) error
	}{
		{"findings dictionary", files.Dictionary, was.Dictionary, &d.ids.Dictionary, d.parseDictionary},
		{"rules", files.Rules, was.Rules, &d.ids.Rules, d.parseRules},
		{"case definition", files.CaseDefinition, was.CaseDefinition, &d.ids.CaseDefinition, d.parseCaseDef},
		{"strata", files.Strata, was.Strata, &d.ids.Strata, d.parseStrata},
		{"privacy", files.Privacy, was.Privacy, &d.ids.Privacy, d.parsePrivacy},
	} {
		file, text, err := definitionText(one.path, one.hash, stored)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", one.what, err)
		}
		if text != nil {
			*one.id = store.HashText(text)
			d.texts = append(d.texts, text)
		}
		d.files = append(d.files, DefinitionText{Kind: one.what, Hash: *one.id, Text: string(text), BuiltIn: text == nil})
		if err := one.parse(file, text); err != nil {
			return nil, err
		}
	}
	d.ids.DictionaryContent = d.Dictionary.Hash()
	return d, nil
}

// definitionText returns the text of a definition and its name in messages;
// no text means the built-in one.
func definitionText(path, hash string, stored func(string) ([]byte, error)) (file string, text []byte, err error) {
	switch {
	case path != "":
		text, err = os.ReadFile(path)
		return path, text, err
	case hash != "":
		text, err = stored(hash)
		return hash[:12] + ".yaml of the store", text, err
	}
	return "", nil, nil
}

func (d *Definitions) parseDictionary(file string, text []byte) (err error) {
	if text == nil {
		d.Dictionary = findings.Default()
		return nil
	}
	d.Dictionary, err = findings.ParseOrExtend(file, text)
	return err
}

func (d *Definitions) parseRules(file string, text []byte) (err error) {
	if text == nil {
		return nil
	}
	if d.Rules, err = rules.Parse(file, text); err != nil {
		return err
	}
	_, err = rules.Compile(d.Rules, d.Dictionary)
	return err
}

func (d *Definitions) parseCaseDef(file string, text []byte) (err error) {
	if text == nil {
		d.CaseDef = casedef.Default()
		return nil
	}
	d.CaseDef, err = casedef.Parse(file, text)
	return err
}

func (d *Definitions) parseStrata(file string, text []byte) (err error) {
	if text == nil {
		d.Strata = strata.Default()
		return nil
	}
	d.Strata, err = strata.Parse(file, text)
	return err
}

func (d *Definitions) parsePrivacy(file string, text []byte) (err error) {
	if text != nil {
		d.Coarse, err = privacy.ParseCoarsening(file, text)
	}
	return err
}

// first returns the first value that is not zero.
func first(values ...int) int {
	for _, v := range values {
		if v != 0 {
			return v
		}
	}
	return 0
}

// Settings are the definitions as the resolver takes them.
func (d *Definitions) Settings() resolve.Settings {
	return resolve.Settings{Dictionary: d.Dictionary, Rules: d.Rules, CaseDef: d.CaseDef, EpisodeHours: d.EpisodeHours, LinkHours: d.LinkHours}
}

// StrataBesideLevel lists the dimensions of the strata beside the level: those
// that are given up while strata are thin in that order, then those that stay.
func (d *Definitions) StrataBesideLevel() []string {
	out := slices.Clone(d.Strata.Collapse)
	for _, dim := range d.Strata.Dimensions {
		if dim != strata.Level && !slices.Contains(out, dim) {
			out = append(out, dim)
		}
	}
	return out
}
