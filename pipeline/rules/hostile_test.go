package rules

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/strict"
)

// TestHostileFiles: what a hand slips into, and what somebody means ill with,
// either works or is refused with its place and a remedy.
func TestHostileFiles(t *testing.T) {
	sound := head + flagA
	deep := strings.Repeat("[", 20_000)
	bomb := "a: &a [x, x, x, x, x, x, x, x, x]\n"
	for c := 'b'; c <= 'j'; c++ {
		bomb += fmt.Sprintf("%c: &%c [*%c, *%c, *%c, *%c, *%c, *%c, *%c, *%c, *%c]\n", c, c, c-1, c-1, c-1, c-1, c-1, c-1, c-1, c-1, c-1)
	}
	for name, c := range map[string]struct{ text, want string }{ // no want: the file is sound
		"byte order mark":      {"\ufeff" + sound, ""},
		"Windows line ends":    {strings.ReplaceAll(sound, "\n", "\r\n"), ""},
		"remarks everywhere":   {"# a\n" + strings.ReplaceAll(sound, "\n", " # 'b' \"c\"\n"), ""},
		"quotes in texts":      {strings.Replace(sound, "title: A", `title: "O'Hara \"said\"; DROP TABLE cases; --"`, 1), ""},
		"tabs for indentation": {strings.Replace(sound, "    title: A", "\ttitle: A", 1), "expected YAML"},
		"a tab after a key":    {strings.Replace(sound, "title: A", "title:\tA", 1), ""},
		"quotes in an id":      {strings.Replace(sound, "id: a", `id: "a'b"`, 1), "expected an identifier"},
		"SQL for a finding":    {when(`{finding: "x); DROP TABLE cases; --", at_least: 4}`), "expected an identifier"},
		"SQL for a threshold":  {when(`{finding: breathing_rate, at_least: "4); DROP TABLE cases; --"}`), "expected a decimal number"},
		"SQL for a code":       {when(`{finding: gum_colour, is: ["white') OR true; --"]}`), "expected an identifier"},
		"duplicate keys":       {strings.Replace(sound, "title: A", "title: A\n    title: B", 1), "each key once"},
		"a repeated head":      {sound + "ruleset: r_3\n", "each key once"},
		"a cyclic anchor":      {"a: &a [*a]\n", "expected"},
		"an anchor":            {strings.Replace(sound, "title: A", "title: &t A", 1), "found an anchor"},
		"an alias bomb":        {bomb, "found an anchor"},
		"a merge key":          {strings.Replace(sound, "    title: A", "    <<: {title: A}", 1), "merge key"},
		"a tag of its own":     {strings.Replace(sound, "title: A", "title: !!binary aGk=", 1), "found a tag"},
		"deep nesting":         {"flags: " + deep, "expected YAML"},
		"deep flow groups":     {"flags: " + strings.Repeat("{a: ", 20_000), "expected YAML"},
		"two documents":        {sound + "---\n" + sound, "second one after ---"},
		"an empty file":        {"", "found an empty file"},
		"only remarks":         {"# nothing\n", "found"},
		"a list at the top":    {"- 1\n", "expected the keys"},
		"bytes, no text":       {"\x00\x01\xff\xfe", "expected YAML"},
		"UTF-16":               {"\xff\xfer\x00u\x00l\x00e\x00s\x00", "expected"},
		"NaN":                  {when("{finding: breathing_rate, at_least: .NaN}"), "expected a decimal number"},
		"minus infinity":       {when("{finding: breathing_rate, below: -.inf}"), "expected a decimal number"},
		"hexadecimal":          {when("{finding: breathing_rate, at_least: 0x28}"), "expected a decimal number"},
		"octal":                {when("{finding: breathing_rate, at_least: 040}"), "expected a decimal number"},
		"an exponent":          {when("{finding: breathing_rate, at_least: 4e1}"), "expected a decimal number"},
		"a decimal comma":      {when(`{finding: temperature_c, at_least: "40,5"}`), "expected a decimal number"},
		"thirty-one digits":    {when("{finding: breathing_rate, at_least: " + strings.Repeat("9", 31) + "}"), "expected a decimal number"},
		"a long title":         {strings.Replace(sound, "title: A", "title: "+strings.Repeat("long ", 2000), 1), "at most 4000"},
		"yes for a code":       {when("{finding: collapse, is: [yes]}"), ""},
		"unlike letters":       {strings.Replace(sound, "finding: breathing_rate", "finding: breathing_r\u0430te", 1), "expected an identifier"},
	} {
		s, err := Parse("r.yaml", []byte(c.text))
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: %v", name, err)
		case c.want == "":
			if _, err := Compile(s, findings.Default()); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		case err == nil:
			t.Errorf("%s is taken", name)
		default:
			var p *strict.Problem
			if !errors.As(err, &p) || p.Remedy == "" || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%s: %v\nwant a problem with a remedy and %q", name, err, c.want)
			}
			if len(err.Error()) > 20_000 {
				t.Errorf("%s: a message of %d bytes", name, len(err.Error()))
			}
		}
	}
}

// TestTenMegabytes: a file of ten megabytes is read, one above the limit is
// refused before it is parsed.
func TestTenMegabytes(t *testing.T) {
	if testing.Short() {
		t.Skip("reads ten megabytes of YAML")
	}
	path := filepath.Join(t.TempDir(), "rules.yaml")
	text := manyFlags(3000)
	text = strings.ReplaceAll(text, "why: W", "why: "+strings.Repeat("because ", 430))
	if len(text) < 10<<20 {
		t.Fatalf("only %d bytes", len(text))
	}
	write := func(data string) {
		t.Helper()
		if err := os.WriteFile(path, []byte(data), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write(text)
	if s, err := Load(path); err != nil || len(s.Flags) != 3000 {
		t.Errorf("ten megabytes: %v", err)
	}
	write(text + strings.Repeat("#", 7<<20))
	if _, err := Load(path); err == nil || !strings.Contains(err.Error(), "at most 16 MB") {
		t.Errorf("seventeen megabytes: %v", err)
	}
}

// broad uses every operator on every finding of the dictionary, at its ends and
// beyond, every code alone and left out, two conditions on one finding, and every
// kind of limit beside them.
func broad(t testing.TB) *Set {
	t.Helper()
	d := findings.Default()
	var lines []string
	add := func(limits string, conds ...string) {
		i := len(lines)
		lines = append(lines, fmt.Sprintf("  - {id: f%d, title: T, why: W, demands: %s, when_unknown: %s, %sall: [%s]}",
			i, codes.Levels.Words()[i%4], []string{"leave", "raise"}[i/4%2], limits, strings.Join(conds, ", ")))
	}
	limits := []string{"", "species: [dog], ", "species: [cat, rabbit, ferret], ", "sex: female, ", "neutered: [yes, no], ", "age_months: {at_least: 12}, ",
		"age_months: {at_least: 0, below: 1}, ", "breed_group: [\"O'Hara\", small], ", "complaint: [skin], ", "species: [dog], sex: male, neutered: no, age_months: {below: 24}, breed_group: small, "}
	for i := range d.Findings {
		f := &d.Findings[i]
		if f.Kind == findings.Code {
			var ids []string
			for _, o := range f.Codes {
				if !o.Unreadable {
					ids = append(ids, o.ID)
				}
			}
			add(limits[i%len(limits)], fmt.Sprintf("{finding: %s, is: [%s]}", f.ID, ids[len(ids)-1]))
			add(limits[(i+3)%len(limits)], fmt.Sprintf("{finding: %s, is: [%s]}", f.ID, strings.Join(ids, ", ")))
			add(limits[(i+5)%len(limits)], fmt.Sprintf("{finding: %s, is_not: [%s]}", f.ID, ids[0]))
			add("", fmt.Sprintf("{finding: %s, is_not: [%s]}", f.ID, strings.Join(ids, ", ")))
			if len(ids) > 2 {
				add("", fmt.Sprintf("{finding: %s, is_not: [%s]}", f.ID, ids[0]), fmt.Sprintf("{finding: %s, is: [%s, %s]}", f.ID, ids[0], ids[2]))
			}
			continue
		}
		r := f.HardRange(findings.AnySpecies)
		low, mid, high := fmt.Sprint(int(r.Low)), fmt.Sprint(int(r.Low+r.High)/2), fmt.Sprint(int(r.High))
		for k, c := range []string{"at_least: " + low, "above: " + low, "at_most: " + low, "at_least: " + high, "above: " + high, "below: " + high, "at_most: " + high,
			"at_least: " + mid + ".05", "below: " + mid + ".949", "at_least: " + mid + ", at_most: " + mid, "above: " + low + ", below: " + high, "at_least: -5", "below: 0", "above: 99999999999"} {
			add(limits[(i+k)%len(limits)], fmt.Sprintf("{finding: %s, %s}", f.ID, c))
		}
		add("", fmt.Sprintf("{finding: %s, at_least: %s}", f.ID, low), fmt.Sprintf("{finding: %s, below: %s}", f.ID, mid), fmt.Sprintf("{finding: %s, above: %s}", f.ID, low))
	}
	return parse(t, strings.Replace(head, "r_1", "broad", 1)+strings.Join(lines, "\n")+"\n")
}

// TestEveryConditionOneAnswer holds Go and DuckDB to one answer on 100,000
// records for every kind of condition there is, and three sets in one scan to the
// answers that each gives alone.
func TestEveryConditionOneAnswer(t *testing.T) {
	wide := compiled(t, broad(t))
	if len(wide.flags) < 150 || len(wide.asks) != len(wide.Dict.Findings) {
		t.Fatalf("%d flags on %d of %d findings are not broad", len(wide.flags), len(wide.asks), len(wide.Dict.Findings))
	}
	n := 100_000
	if testing.Short() {
		n = 10_000
	}
	recs := directed(wide, n, 77)
	db := load(t, recs)
	fired, unknown := compare(t, db, recs, Part{Program: wide, Prefix: "w_"})
	never := 0
	for i := range fired {
		if fired[i] == 0 {
			never++
			if r := regionOf(&wide.flags[i]); r.impossible() == nil {
				t.Errorf("%s never fires, and could", wide.flags[i].Describe())
			}
		}
		if unknown[i] == 0 || fired[i] == len(recs) {
			t.Errorf("%s is unknown in %d and fires in %d records: the inputs do not test it", wide.flags[i].Describe(), unknown[i], fired[i])
		}
	}
	if never > len(fired)/3 {
		t.Errorf("%d of %d flags never fire", never, len(fired))
	}
	parts := []Part{{wide, "w_"}, {compiled(t, stress(t)), "s_"}, {compiled(t, demo(t)), "d_"}}
	some := "(SELECT * FROM cases WHERE i < 3000)"
	together, err := Select(some, parts...)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range parts {
		alone, err := Select(some, p)
		if err != nil {
			t.Fatal(err)
		}
		columns := "i, " + strings.Join(p.Columns(), ", ")
		var differ int
		err = db.QueryRow(fmt.Sprintf("SELECT count(*) FROM (SELECT %[1]s FROM (%[2]s) EXCEPT SELECT %[1]s FROM (%[3]s))", columns, together, alone)).Scan(&differ)
		if err != nil || differ != 0 {
			t.Errorf("%s: %d records get another answer in one scan with the others (%v)", p.Prefix, differ, err)
		}
	}
}
