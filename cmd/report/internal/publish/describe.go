package publish

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
)

// describe writes everything beside the tables, checksums last.
func (w *work) describe() error {
	files := map[string]any{
		"datapackage.json": w.descriptor(), "dataset.jsonld": w.jsonLD(), "risk.json": struct {
			Risk
			Differences Differences `json:"differences_from_source"`
		}{w.risk, w.errors},
	}
	for name, v := range files {
		if err := writeJSON(filepath.Join(w.dir, name), v); err != nil {
			return fmt.Errorf("publish: %w", err)
		}
	}
	book := w.codebook()
	texts := map[string]string{
		"README.md": w.readme(), "CODEBOOK.md": book.markdown(), "METHODS.md": w.methods(), "CITATION.cff": w.citation(),
		"KNOWN-ISSUES.md": w.knownIssues(), "CHANGELOG.md": w.changelog(),
	}
	for _, p := range []struct {
		name string
		make func() (string, error)
	}{{"codebook.html", book.html}, {"risk.html", w.riskPage}} {
		text, err := p.make()
		if err != nil {
			return fmt.Errorf("publish %s: %w", p.name, err)
		}
		texts[p.name] = text
	}
	for name, text := range texts {
		if err := os.WriteFile(filepath.Join(w.dir, name), []byte(text), 0o644); err != nil {
			return fmt.Errorf("publish: %w", err)
		}
	}
	return w.checksums()
}

// checksums lists every file of the release, in the form that sha256sum -c reads.
func (w *work) checksums() error {
	var names []string
	for _, f := range w.files {
		names = append(names, f.CSV.Path, f.Parquet.Path)
	}
	entries, err := os.ReadDir(w.dir)
	if err != nil {
		return fmt.Errorf("publish: %w", err)
	}
	for _, e := range entries {
		if !e.IsDir() {
			names = append(names, e.Name())
		}
	}
	sort.Strings(names)
	var b strings.Builder
	for _, n := range names {
		s, err := w.sum(n)
		if err != nil {
			return fmt.Errorf("publish: %w", err)
		}
		fmt.Fprintf(&b, "%s  %s\n", s.SHA256, s.Path)
	}
	return os.WriteFile(filepath.Join(w.dir, "SHA256SUMS"), []byte(b.String()), 0o644)
}

// cautions stand in every release.
var cautions = []string{
	"This is a record of how telephone rules worked, for people who review such rules. It is not a diagnosis and no advice about any animal; an animal with an emergency sign is seen, whatever a table says.",
	"Do not try to find out whose animal a row is about, or who gave the advice, and do not join the rows with other data in a way that could. Who finds a person by accident tells the publisher and nobody else.",
	"Local law on personal data applies to whoever holds a copy, whatever the licence says.",
	"A rule is changed by a licensed veterinary professional under local law, never by a table.",
}

func bullets(list []string) string {
	return "* " + strings.Join(list, "\n* ") + "\n"
}

func (w *work) readme() string {
	r := w.opt.Config.Release
	licence := "No licence is granted yet: the publisher has named none, so nobody may reuse these data without asking."
	if r.LicenceName != "" {
		licence = fmt.Sprintf("Licence: %s (%s), <%s>.", r.LicenceTitle, r.LicenceName, r.LicencePath)
	}
	var tables strings.Builder
	for i, t := range w.tables {
		fmt.Fprintf(&tables, "| `%s` | %s | %s | %d |\n", t.Name, t.Title, t.Row, w.files[i].Rows)
	}
	return lines("# "+r.Title, "", r.Description, "",
		fmt.Sprintf("Release %s. %d episodes, reviewed period %s to %s, data as of load %d.", w.published.Version, w.risk.Records, w.published.From, w.published.To, w.published.Meta.AsOf),
		licence, "", "## Before you use it", "", bullets(cautions),
		"## What is here", "", "| table | what | row | rows |", "|---|---|---|---|", strings.TrimSuffix(tables.String(), "\n"), "",
		"Each lies in `data/` as CSV (UTF-8, comma, header) and as Parquet, with the same rows in the same order and the same columns.",
		"`episodes`, `flags` and `findings` have one row an episode each and join on `episode`; `checks` and `outcomes` join to `calls` on `call`.", "",
		"| file | what |", "|---|---|",
		"| `datapackage.json` | tables and columns for programs, after the Data Package standard, version 2 |",
		"| `CODEBOOK.md`, `codebook.html` | the same for people |",
		"| `METHODS.md` | how the rows were made coarser, and by how much figures move because of it |",
		"| `risk.html`, `risk.json` | the risk that a person is picked out |",
		"| `KNOWN-ISSUES.md`, `CHANGELOG.md`, `CITATION.cff` | what is wrong, what changed, how to cite |",
		"| `release.json` | what `report query --data` needs beside the rows |",
		"| `SHA256SUMS` | checksums; `sha256sum -c SHA256SUMS` |", "",
		"## Cells without a value", "", "| cell | meaning |", "|---|---|", strings.TrimSuffix(missingTable(), "\n"), "",
		"## Reading it", "", "```r",
		`episodes <- read.csv("data/episodes.csv", na.strings = c("", "suppressed"), stringsAsFactors = TRUE)`, "```", "", "```python",
		"import pandas", `episodes = pandas.read_csv("data/episodes.csv", na_values=["suppressed"], keep_default_na=False)`, "```", "", "```sql",
		"SELECT species, need_same_day, count(*) FROM read_parquet('data/episodes.parquet') GROUP BY ALL;", "```")
}

// missing are the cells without a value, in the order of the descriptor.
var missing = [][2]string{
	{"", "not recorded"},
	{"suppressed", "withheld so that nobody can be picked out, in this row or in the whole column"},
	{"not_asked", "the check was not asked for, or there is no record of it"},
	{"not_possible", "the check was tried and could not be done"},
	{"declined", "the check was declined or would have been unsafe"},
	{"stopped_early", "the check was not asked for because an emergency sign had ended the questions"},
}

func missingTable() string {
	var b strings.Builder
	for _, m := range missing {
		name := "empty"
		if m[0] != "" {
			name = "`" + m[0] + "`"
		}
		fmt.Fprintf(&b, "| %s | %s |\n", name, m[1])
	}
	return b.String()
}

func (w *work) methods() string {
	var cols strings.Builder
	for _, c := range w.risk.Columns {
		fmt.Fprintf(&cols, "| %s | %s | %d | %d (%.1f %%) | %.0f %% |\n", c.Name, c.Level, c.Values, c.Suppressed, 100*float64(c.Suppressed)/float64(max(1, w.risk.Records)), 100*c.Loss)
	}
	search := "every combination of levels that could have been better was worked out"
	if !w.risk.Exact {
		search = "the table is large, so the search walked from the coarsest levels towards less loss; a better plan may exist"
	}
	return lines("# Methods", "",
		"## From calls to rows", "",
		"The unit is the episode: contacts about the same animal within the episode window. "+w.published.Meta.DefinitionText,
		"Levels of rules and results of flags are those of the rules in force when the release was made ("+w.published.Meta.RuleSet+"); `ruleset` says what was in force at the call.",
		"A check that was not done stays unknown, with its reason; it is never taken for normal.", "",
		"## What was made coarser", "",
		fmt.Sprintf("Target: behind every published combination of the columns below stand at least %d persons, and among them at least %d different values of the advice and of the known need. Persons are counted by owner, or by animal or episode where no owner is recorded.", w.risk.K, w.risk.L),
		fmt.Sprintf("The levels were searched for the least loss of information (%s; %d of %d). The loss of a level is 1 - H(level)/H(recorded), where H is the entropy of the column over episodes; a suppressed cell loses all; columns are weighted as the privacy file says. The release loses %.1f %% of the weighted information. Cells were suppressed in the order %s where combinations stayed too rare.",
			search, w.risk.Searched, w.risk.Lattice, 100*w.risk.Loss, strings.Join(w.opt.Config.GiveUp, ", ")), "",
		"| column | level | values | suppressed cells | information lost |", "|---|---|---|---|---|", strings.TrimSuffix(cols.String(), "\n"), "",
		"Dates are months or longer; hours after a contact, lengths of calls and ages are bands. Values of open words that fewer rows or persons have are `other_rare`; words that are no code are `other`. There is no free text.",
		fmt.Sprintf("%d of %d repeated episodes of an animal keep its key; the others have an animal and an owner of their own, because linking them would let an owner be picked out. Keys are new in each release and cannot be made again.", w.risk.KeptLinks, w.risk.RepeatedEpisodes), "",
		"## What that does to figures", "", w.errorTable(), "",
		"Every figure of the monthly review was made twice, from the source and from this release. Shares are compared in points (0.01 is one in a hundred), numbers of episodes relative to the source; the largest difference is rounded up to one digit. Limits that allow for clusters need keys that may have been withheld, so limits can differ where the figure does not.", "",
		"## What is not here", "", bullets(w.notHere()))
}

func (w *work) errorTable() string {
	var b strings.Builder
	b.WriteString("| section of the review | figures | the same | within 0.01 | not estimable here | largest difference | of a limit |\n|---|---|---|---|---|---|---|\n")
	for _, d := range w.errors.Sections {
		fmt.Fprintf(&b, "| %s | %d | %d | %d | %d | %g | %g |\n", d.Section, d.Figures, d.Same, d.Near, d.Lost, d.Largest, d.LargestLimit)
	}
	return strings.TrimSuffix(b.String(), "\n")
}

func (w *work) notHere() []string {
	out := []string{"exact times, ages, weights and lengths of calls", "names of practices and feeds", "rows of exports that were refused, but for their number by column and reason", "outcomes that belong to no episode"}
	keys := make([]string, 0, len(w.published.Meta.Withheld))
	for k := range w.published.Meta.Withheld {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for _, k := range keys {
		out = append(out, k+": "+w.published.Meta.Withheld[k])
	}
	return out
}

func (w *work) knownIssues() string {
	issues := []string{
		fmt.Sprintf("Readings, flags and outcomes are published as recorded. %.0f %% of the episodes differ from all others in them, so whoever holds the same content from elsewhere, such as another release of the same line, can find these rows again and put together what the two releases say. Let a new release replace the old one at the same levels, and do not publish a finer one beside it.", 100*w.risk.ContentUnique),
		"Some flags read the sex, age or breed of the animal. Where such a flag is present, a suppressed cell of that column can be guessed from the rules file.",
		"An owner who knows the readings given on the telephone can find her own row.",
		"Most animals that are told to stay at home are never seen by a vet. Accuracy among verified episodes flatters; use `route`, `audit_selected` and `selection_p`.",
		"An animal that was told to stay at home and came in by the owner's own decision got worse: it is a found case, not a sample.",
	}
	return lines("# Known issues", "", strings.TrimSuffix(bullets(append(issues, w.opt.Config.Release.KnownIssues...)), "\n"))
}

func (w *work) changelog() string {
	return lines("# Changelog", "", fmt.Sprintf("## %s", w.published.Version), "",
		fmt.Sprintf("* %d episodes as of load %d of the source, made with %s under the privacy file `%s`.", w.risk.Records, w.published.Meta.AsOf, w.opt.Software, w.opt.Config.ID),
		"* Keys are new: they join within this release only.")
}

func (w *work) citation() string {
	r := w.opt.Config.Release
	out := []string{"cff-version: 1.2.0", "message: Please cite this dataset as below.", "type: dataset", fmt.Sprintf("title: %q", r.Title),
		"authors:"}
	for _, c := range r.Contributors {
		out = append(out, fmt.Sprintf("  - name: %q", c.Title))
	}
	out = append(out, fmt.Sprintf("version: %q", w.published.Version), "date-released: "+w.published.Made)
	if r.LicenceName != "" {
		out = append(out, "license: "+r.LicenceName)
	}
	return lines(out...)
}
