package disclosure

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"

	"hindcheck/pipeline/strict"
)

// The quasi-identifiers that a privacy file may name, which are columns of the
// published episodes. One that it does not name is not published.
var columnLevels = map[string][]string{
	"species":     {"recorded", "groups", "all"},
	"breed_group": {"recorded", "groups", "all"},
	"sex":         {"recorded", "all"},
	"neutered":    {"recorded", "all"},
	"age":         {"fine", "coarse", "all"},
	"site":        {"recorded", "groups", "all"},
	"complaint":   {"recorded", "groups", "all"},
	"period":      {"month", "quarter", "half_year", "year"},
	"hours":       {"parts", "all"},
	"ruleset":     {"recorded", "all"},
}

// ColumnNames lists the quasi-identifiers in the order in which tables hold them.
var ColumnNames = []string{"species", "breed_group", "sex", "neutered", "age", "complaint", "site", "period", "hours", "ruleset"}

// Sensitive names the properties whose diversity is measured: what an outsider
// would find out about somebody who was picked out.
var Sensitive = []string{"advice", "need"}

// Config is one privacy file.
type Config struct {
	// ID and Title name the file in what is published.
	ID, Title string
	// K is how many persons each published combination needs, L how many
	// different sensitive values.
	K, L int64
	// MaxSuppressed is the largest share of records in which any one column
	// may be suppressed, MaxEssential the same for the Essential columns.
	MaxSuppressed, MaxEssential float64
	Essential                   []string
	// RareBelow joins values that fewer persons have into one.
	RareBelow int64
	// Columns are the quasi-identifiers, GiveUp the order in which their cells
	// are suppressed where a class stays too small, first to go first.
	Columns []Column
	GiveUp  []string
	// TellsNothing are sensitive values that reveal nothing when a whole class
	// shares them, such as a need that is unknown.
	TellsNothing map[string][]string
	// TableMinimum is the smallest count that a table of counts may show.
	TableMinimum int64
	Release      Release
}

// Column is one quasi-identifier.
type Column struct {
	Name   string
	Weight float64
	// Levels from fine to coarse.
	Levels []string
	// Groups maps recorded words to coarser ones.
	Groups map[string]string
	// Fine and Coarse are the lower edges of bands after the first, ascending.
	Fine, Coarse []int
}

// Release is what the publisher says of a release.
type Release struct {
	Name, Title, Description  string
	LicenceName, LicenceTitle string
	LicencePath               string
	Contributors              []Contributor
	Sources                   []string
	KnownIssues               []string
}

// Contributor is a role, never a person.
type Contributor struct{ Title, Role string }

//go:embed open.yaml
var openYAML []byte

//go:embed privacy.schema.json
var schemaJSON []byte

// Schema returns the JSON Schema of a privacy file, for editors.
func Schema() []byte { return slices.Clone(schemaJSON) }

// DefaultText returns the privacy file that is used where none is named.
func DefaultText() []byte { return slices.Clone(openYAML) }

// Read reads a privacy file; an empty path means the default, the open one.
// The error is strict.Problems with every mistake.
func Read(path string) (Config, error) {
	if path == "" {
		return Parse("the built-in privacy file", openYAML)
	}
	data, err := strict.ReadFile(path)
	if err != nil {
		return Config{}, err
	}
	return Parse(path, data)
}

// Parse reads the text of a privacy file; file is its name in messages.
func Parse(file string, data []byte) (Config, error) {
	doc, top := strict.Parse(file, data)
	m := top.Map("privacy", "title", "target", "limits", "essential", "rare_below", "quasi_identifiers", "give_up", "tells_nothing", "table_minimum", "release")
	c := Config{ID: m.Need("privacy").ID(), Title: m.Need("title").Text(), TellsNothing: map[string][]string{}}
	t := m.Need("target").Map("k", "l")
	c.K, c.L = int64(t.Need("k").Int(2, 10_000)), int64(t.Need("l").Int(1, 4))
	l := m.Need("limits").Map("suppressed", "essential")
	c.MaxSuppressed, c.MaxEssential = share(l.Need("suppressed")), share(l.Need("essential"))
	c.RareBelow = int64(m.Need("rare_below").Int(0, 1_000_000))
	c.TableMinimum = int64(m.Need("table_minimum").Int(2, 1000))
	c.readColumns(m.Need("quasi_identifiers"))
	named := func(n strict.Node) string { return n.Choice(c.names()...) }
	c.Essential = m.Need("essential").Each(named)
	c.GiveUp = m.Need("give_up").Each(named)
	if g := m.Get("give_up"); g.Exists() && len(c.GiveUp) != len(c.Columns) {
		g.Fail("every quasi-identifier once", strings.Join(c.GiveUp, ", "), "list "+strings.Join(c.names(), ", ")+" in the order in which they may go")
	}
	if m.Has("tells_nothing") {
		s := m.Get("tells_nothing").Map(Sensitive...)
		for _, k := range s.Keys() {
			c.TellsNothing[k] = s.Get(k).Each(strict.Node.ID)
		}
	}
	c.Release = readRelease(m.Need("release"))
	if err := doc.Err(); err != nil {
		return Config{}, err
	}
	return c, nil
}

func share(n strict.Node) float64 {
	x, text := n.Number()
	if n.Exists() && (x < 0 || x > 1) {
		n.Fail("a share from 0 to 1", text, "write 0.05 for five in a hundred")
	}
	return x
}

func (c *Config) names() []string {
	out := make([]string, len(c.Columns))
	for i, x := range c.Columns {
		out[i] = x.Name
	}
	return out
}

func (c *Config) readColumns(n strict.Node) {
	m := n.Map(ColumnNames...)
	for _, name := range ColumnNames {
		if !m.Has(name) {
			continue
		}
		g := m.Get(name).Map("weight", "levels", "groups", "fine", "coarse")
		x := Column{Name: name}
		x.Weight, _ = g.Need("weight").Number()
		if x.Weight <= 0 {
			g.Get("weight").Fail("a weight above 0", fmt.Sprint(x.Weight), "say how much the column matters beside the others")
		}
		order := -1
		x.Levels = g.Need("levels").Each(func(n strict.Node) string {
			w := n.Choice(columnLevels[name]...)
			if at := slices.Index(columnLevels[name], w); at >= 0 && at <= order {
				n.Fail("levels from fine to coarse, each once", w, "put them in the order "+strings.Join(columnLevels[name], ", "))
			} else {
				order = at
			}
			return w
		})
		x.readGroups(g)
		x.Fine, x.Coarse = edges(g, "fine", slices.Contains(x.Levels, "fine")), edges(g, "coarse", slices.Contains(x.Levels, "coarse"))
		for _, e := range x.Coarse {
			if !slices.Contains(x.Fine, e) {
				g.Get("coarse").Fail("edges that stand under fine", fmt.Sprint(e), "coarse bands are joined fine ones")
			}
		}
		c.Columns = append(c.Columns, x)
	}
}

func (x *Column) readGroups(g strict.Map) {
	if !slices.Contains(x.Levels, "groups") {
		return
	}
	x.Groups = map[string]string{}
	groups := g.Need("groups").AnyMap()
	for _, k := range groups.Keys() {
		for _, w := range groups.Get(k).Each(strict.Node.ID) {
			if was, twice := x.Groups[w]; twice {
				groups.Get(k).Fail("each word in one group", fmt.Sprintf("%s in %s and %s", w, was, k), "delete it from one")
			}
			x.Groups[w] = k
		}
	}
}

// edges reads a list of ascending months.
func edges(g strict.Map, key string, needed bool) []int {
	if !needed && !g.Has(key) {
		return nil
	}
	var out []int
	for _, n := range g.Need(key).List() {
		e := n.Int(1, 1200)
		if len(out) > 0 && e <= out[len(out)-1] {
			n.Fail("edges in ascending order", fmt.Sprint(e), "sort them")
		}
		out = append(out, e)
	}
	return out
}

func readRelease(n strict.Node) Release {
	m := n.Map("name", "title", "description", "licence", "contributors", "sources", "known_issues")
	r := Release{Name: m.Need("name").ID(), Title: m.Need("title").Text(), Description: m.Need("description").Text()}
	if m.Has("licence") {
		l := m.Get("licence").Map("name", "title", "path")
		r.LicenceName, r.LicenceTitle, r.LicencePath = l.Need("name").Text(), l.Need("title").Text(), l.Need("path").Text()
	}
	for _, c := range m.Need("contributors").List() {
		p := c.Map("title", "role")
		r.Contributors = append(r.Contributors, Contributor{p.Need("title").Text(), p.Need("role").Text()})
	}
	r.Sources = m.Need("sources").Each(strict.Node.Text)
	if m.Has("known_issues") {
		r.KnownIssues = m.Get("known_issues").Each(strict.Node.Text)
	}
	return r
}

// Silent reports whether all values of a sensitive property that occur in
// counts say nothing. counts are in the order of Combination's bits.
func (c Config) Silent(property string, counts []int64) bool {
	words := needWords
	if property == Sensitive[0] {
		words = adviceWords
	}
	for i, n := range counts {
		if n > 0 && !slices.Contains(c.TellsNothing[property], words[i]) {
			return false
		}
	}
	return true
}
