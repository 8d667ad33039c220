package publish

import (
	"hindcheck/queries/release"
)

// The shapes below are those of the Data Package standard, version 2, and of
// its Table Schema: https://datapackage.org/standard/data-package/.

type dataPackage struct {
	Schema       string           `json:"$schema"`
	Name         string           `json:"name"`
	ID           string           `json:"id,omitempty"`
	Title        string           `json:"title"`
	Description  string           `json:"description"`
	Version      string           `json:"version"`
	Created      string           `json:"created"`
	Keywords     []string         `json:"keywords"`
	Licenses     []packageLicence `json:"licenses,omitempty"`
	Sources      []packageSource  `json:"sources,omitempty"`
	Contributors []contributor    `json:"contributors,omitempty"`
	Resources    []resource       `json:"resources"`
}

type packageLicence struct {
	Name  string `json:"name"`
	Title string `json:"title"`
	Path  string `json:"path"`
}

type packageSource struct {
	Title string `json:"title"`
}

type contributor struct {
	Title string   `json:"title"`
	Roles []string `json:"roles"`
}

type resource struct {
	Name        string       `json:"name"`
	Type        string       `json:"type"`
	Path        string       `json:"path"`
	Title       string       `json:"title"`
	Description string       `json:"description"`
	Format      string       `json:"format"`
	MediaType   string       `json:"mediatype"`
	Encoding    string       `json:"encoding,omitempty"`
	Bytes       int64        `json:"bytes"`
	Hash        string       `json:"hash"`
	Dialect     *dialect     `json:"dialect,omitempty"`
	Schema      *tableSchema `json:"schema"`
}

type dialect struct {
	Delimiter string `json:"delimiter"`
	Header    bool   `json:"header"`
}

type tableSchema struct {
	Schema        string         `json:"$schema"`
	Fields        []field        `json:"fields"`
	MissingValues []missingValue `json:"missingValues"`
	PrimaryKey    []string       `json:"primaryKey,omitempty"`
	ForeignKeys   []foreignKey   `json:"foreignKeys,omitempty"`
}

type missingValue struct {
	Value string `json:"value"`
	Label string `json:"label"`
}

type foreignKey struct {
	Fields    []string  `json:"fields"`
	Reference reference `json:"reference"`
}

type reference struct {
	Resource string   `json:"resource"`
	Fields   []string `json:"fields"`
}

type field struct {
	Name          string         `json:"name"`
	Type          string         `json:"type"`
	Title         string         `json:"title"`
	Description   string         `json:"description,omitempty"`
	Unit          string         `json:"unit,omitempty"`
	Constraints   *constraints   `json:"constraints,omitempty"`
	Categories    []string       `json:"categories,omitempty"`
	Ordered       bool           `json:"categoriesOrdered,omitempty"`
	MissingValues []missingValue `json:"missingValues,omitempty"`
	TrueValues    []string       `json:"trueValues,omitempty"`
	FalseValues   []string       `json:"falseValues,omitempty"`
}

type constraints struct {
	Required bool     `json:"required,omitempty"`
	Unique   bool     `json:"unique,omitempty"`
	Pattern  string   `json:"pattern,omitempty"`
	Minimum  *float64 `json:"minimum,omitempty"`
	Maximum  *float64 `json:"maximum,omitempty"`
}

func (w *work) descriptor() dataPackage {
	r := w.opt.Config.Release
	p := dataPackage{
		Schema: "https://datapackage.org/profiles/2.0/datapackage.json", Name: dashed(r.Name), Title: r.Title, Description: r.Description,
		Version: w.published.Version, Created: w.published.Made + "T00:00:00Z",
		Keywords: []string{"veterinary", "telephone triage", "diagnostic accuracy", "open data"},
	}
	if r.LicenceName != "" {
		p.Licenses = []packageLicence{{r.LicenceName, r.LicenceTitle, r.LicencePath}}
	}
	for _, s := range r.Sources {
		p.Sources = append(p.Sources, packageSource{s})
	}
	for _, c := range r.Contributors {
		p.Contributors = append(p.Contributors, contributor{c.Title, []string{c.Role}})
	}
	for i, t := range w.tables {
		f := w.files[i]
		p.Resources = append(p.Resources, resource{
			Name: t.Name, Type: "table", Path: f.CSV.Path, Title: t.Title, Description: t.Row, Format: "csv", MediaType: "text/csv", Encoding: "utf-8",
			Bytes: f.CSV.Bytes, Hash: "sha256:" + f.CSV.SHA256, Dialect: &dialect{",", true}, Schema: w.tableSchema(t, ""),
		}, resource{
			Name: t.Name + "-parquet", Type: "table", Path: f.Parquet.Path, Title: t.Title, Description: t.Row, Format: "parquet", MediaType: "application/vnd.apache.parquet",
			Bytes: f.Parquet.Bytes, Hash: "sha256:" + f.Parquet.SHA256, Schema: w.tableSchema(t, "-parquet"),
		})
	}
	return p
}

// dashed writes an identifier as the name of a package, in which an underscore
// is unusual.
func dashed(id string) string {
	out := []byte(id)
	for i, c := range out {
		if c == '_' {
			out[i] = '-'
		}
	}
	return string(out)
}

// tableSchema describes one table; suffix is that of the resources of the same
// form, to which foreign keys point.
func (w *work) tableSchema(t release.Table, suffix string) *tableSchema {
	s := &tableSchema{Schema: "https://datapackage.org/profiles/2.0/tableschema.json", PrimaryKey: t.Key, MissingValues: missingValues(missing[:1])}
	for _, c := range t.Columns {
		s.Fields = append(s.Fields, w.field(t, c))
		if to, ok := t.Refers[c.Name]; ok {
			s.ForeignKeys = append(s.ForeignKeys, foreignKey{[]string{c.Name}, reference{to + suffix, []string{c.Name}}})
		}
	}
	return s
}

func missingValues(list [][2]string) []missingValue {
	var out []missingValue
	for _, m := range list {
		out = append(out, missingValue{m[0], m[1]})
	}
	return out
}

func (w *work) field(t release.Table, c release.Column) field {
	f := field{Name: c.Name, Type: c.Type, Title: c.Title, Unit: c.Unit, Categories: w.values(t, c), Ordered: c.Ordered}
	switch {
	case c.Quasi:
		f.MissingValues = missingValues(missing[:2])
	case c.NotAssessed:
		f.MissingValues = missingValues(append([][2]string{missing[0]}, missing[2:]...))
	}
	if c.Type == "boolean" {
		f.TrueValues, f.FalseValues = []string{"true"}, []string{"false"}
	}
	unique := len(t.Key) == 1 && t.Key[0] == c.Name
	// A state instead of a reading is missing to a reader of the schema, so a
	// finding's column cannot be required.
	required := c.Required && !c.NotAssessed && !c.Quasi
	if required || unique {
		f.Constraints = &constraints{Required: required, Unique: unique}
	}
	if c.Type == "integer" || c.Name == "selection_p" {
		if f.Constraints == nil {
			f.Constraints = &constraints{}
		}
		zero, one := 0.0, 1.0
		f.Constraints.Minimum = &zero
		if c.Name == "selection_p" {
			f.Constraints.Maximum = &one
		}
	}
	return f
}

// values are the categories of a column: the closed list, or the words that
// occur, without those that stand for a missing value.
func (w *work) values(t release.Table, c release.Column) []string {
	list := c.Words
	if c.Open {
		list = w.words[t.Name+"."+c.Name]
	}
	var out []string
	for _, v := range list {
		if v != "suppressed" {
			out = append(out, v)
		}
	}
	return out
}

// jsonLD describes the dataset to search engines, in the words of schema.org.
func (w *work) jsonLD() map[string]any {
	r := w.opt.Config.Release
	out := map[string]any{
		"@context": "https://schema.org/", "@type": "Dataset", "name": r.Title, "description": r.Description, "version": w.published.Version,
		"datePublished": w.published.Made, "temporalCoverage": w.published.From + "/" + w.published.To, "isAccessibleForFree": true,
		"keywords":             []string{"veterinary", "telephone triage", "diagnostic accuracy", "open data"},
		"measurementTechnique": "telephone triage records linked with veterinary outcomes, de-identified",
		"conditionsOfAccess":   cautions[1],
	}
	if r.LicenceName != "" {
		out["license"] = r.LicencePath
	}
	var creators, files, variables []map[string]any
	for _, c := range r.Contributors {
		creators = append(creators, map[string]any{"@type": "Organization", "name": c.Title})
	}
	for i, t := range w.tables {
		for _, f := range []struct {
			sum  FileSum
			kind string
		}{{w.files[i].CSV, "text/csv"}, {w.files[i].Parquet, "application/vnd.apache.parquet"}} {
			files = append(files, map[string]any{"@type": "DataDownload", "name": t.Title, "contentUrl": f.sum.Path, "encodingFormat": f.kind, "contentSize": f.sum.Bytes, "sha256": f.sum.SHA256})
		}
	}
	for _, c := range w.tables[0].Columns {
		variables = append(variables, map[string]any{"@type": "PropertyValue", "name": c.Name, "description": c.Title})
	}
	out["creator"], out["distribution"], out["variableMeasured"] = creators, files, variables
	return out
}
