package strict

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/pipeline/codes"
)

// sample is a small reader that uses every kind of read.
type sample struct {
	id, title, word, choice string
	level                   codes.Level
	number                  float64
	whole                   int
	yes                     bool
	words                   []string
	day                     string
}

func readSample(data string) (sample, error) {
	doc, top := Parse("s.yaml", []byte(data))
	m := top.Map("id", "title", "word", "choice", "level", "number", "whole", "yes", "words", "day", "inner")
	s := sample{
		id: m.Get("id").ID(), title: m.Need("title").Text(), word: m.Get("word").Word(codes.Routes),
		choice: m.Get("choice").Choice("raise", "leave"), level: m.Get("level").Level(),
		whole: m.Get("whole").Int(1, 100), yes: m.Get("yes").Bool(), words: m.Get("words").Each(Node.ID),
	}
	s.number, _ = m.Get("number").Number()
	if n := m.Get("day"); n.Exists() {
		s.day = n.Date().Format("2006-01-02")
	}
	for _, n := range m.Get("inner").List() {
		n.Map("title").Need("title").Text()
	}
	return s, doc.Err()
}

func TestReadAll(t *testing.T) {
	s, err := readSample("\ufeffid: a_1\ntitle: >-\n  two\n  words\nword: audit\nchoice: leave\nlevel: same_day\nnumber: -2.50\n" +
		"whole: 100\nyes: true\nwords: [b, no, yes]\nday: 2026-01-31\ninner: [{title: \"12\"}]\n")
	if err != nil {
		t.Fatal(err)
	}
	want := sample{id: "a_1", title: "two words", word: "audit", choice: "leave", level: codes.SameDay, number: -2.5,
		whole: 100, yes: true, day: "2026-01-31"}
	if got := strings.Join(s.words, " "); got != "b no yes" {
		t.Errorf("words = %q: an unquoted yes or no is a word", got)
	}
	s.words = nil
	if s.id != want.id || s.title != want.title || s.word != want.word || s.choice != want.choice || s.level != want.level ||
		s.number != want.number || s.whole != want.whole || s.yes != want.yes || s.day != want.day {
		t.Errorf("got %+v\nwant %+v", s, want)
	}
	if one, err := readSample("title: x\nwords: b"); err != nil || len(one.words) != 1 {
		t.Errorf("a single word must do for a list of one: %v %v", one.words, err)
	}
}

func TestProblems(t *testing.T) {
	for name, c := range map[string]struct{ yaml, want string }{
		"unknown key":         {"title: x\ntitel: y", `s.yaml:2:1: expected one of the keys id, title,`},
		"unknown key remedy":  {"title: x\ntitel: y", `did you mean title?`},
		"unknown key below":   {"title: x\ninner:\n  - title: x\n    x: 1", `s.yaml:4:5: inner[0]: expected one of the keys title, found "x"`},
		"missing key":         {"id: a", `s.yaml:1:1: expected the key title, found none; add title: here`},
		"key twice":           {"title: x\ntitle: y", `s.yaml:2:1: expected each key once, found "title" again`},
		"null":                {"title:", `s.yaml:1:7: title: expected text, found nothing`},
		"number for text":     {"title: 12", `s.yaml:1:8: title: expected text, found "12"; put it in quotes`},
		"bool for text":       {"title: true", `expected text, found "true"`},
		"list for text":       {"title: [x]", `expected text, found a list`},
		"map for text":        {"title: {a: b}", `expected text, found a group of keys`},
		"blank text":          {"title: \"  \"", `expected text, found a blank`},
		"control character":   {"title: \"a\\u0007b\"", `expected visible characters`},
		"hidden order":        {"title: \"a\\u202eb\"", `expected visible characters`},
		"long text":           {"title: " + strings.Repeat("x", 4001), `expected text of at most 4000 characters, found 4001`},
		"nan":                 {"title: x\nnumber: .nan", `s.yaml:2:9: number: expected a decimal number such as 40 or 2.5, found ".nan"`},
		"inf":                 {"title: x\nnumber: -.inf", `found "-.inf"`},
		"overflow":            {"title: x\nnumber: 1e999", `found "1e999"`},
		"octal":               {"title: x\nnumber: 010", `found "010"`},
		"hexadecimal":         {"title: x\nnumber: 0x10", `found "0x10"`},
		"underscore":          {"title: x\nnumber: 1_000", `found "1_000"`},
		"quoted number":       {"title: x\nnumber: \"4\"", `without quotes`},
		"unit":                {"title: x\nnumber: 4 s", `found "4 s"`},
		"whole out of range":  {"title: x\nwhole: 101", `expected a whole number from 1 to 100, found "101"`},
		"whole not whole":     {"title: x\nwhole: 1.5", `expected a whole number`},
		"yes for true":        {"title: x\nyes: yes", `expected true or false, found "yes"`},
		"level":               {"title: x\nlevel: urgent", `expected one of emergency, same_day, soon, home_care, found "urgent"`},
		"choice":              {"title: x\nchoice: up", `expected one of raise, leave`},
		"closed word":         {"title: x\nword: visit", `expected one of advised_visit,`},
		"id":                  {"title: x\nid: \"a'; drop table x; --\"", `expected an identifier`},
		"word twice":          {"title: x\nwords: [a, b, a]", `s.yaml:2:15: words[2]: expected each value once`},
		"empty list":          {"title: x\nwords: []", `expected a list of at least one value`},
		"list wanted":         {"title: x\ninner: {}", `expected a list, found a group of keys`},
		"group wanted":        {"title: x\ninner: [x]", `inner[0]: expected the keys title, found "x"`},
		"day":                 {"title: x\nday: 31.01.2026", `expected a day such as 2026-01-31`},
		"impossible day":      {"title: x\nday: 2026-02-30", `expected a day`},
		"alias":               {"title: &a x\nid: *a", `expected plain settings, found an anchor; write the value out`},
		"merge":               {"title: x\n<<: {id: a}", `found a merge key`},
		"tag":                 {"title: !!str 12", `found a tag`},
		"list on top":         {"- a", `s.yaml:1:1: expected the keys id,`},
		"complex key":         {"? [a]\n: b\ntitle: x", `expected a key, found a list`},
		"empty":               {"", `s.yaml: expected settings in YAML, found an empty file`},
		"comment only":        {"# nothing\n", `found an empty file`},
		"two documents":       {"title: x\n---\ntitle: y", `found a second one after ---`},
		"broken":              {"title: x\n  id: [", `s.yaml:2`},
		"not text":            {"title: \xff\xfe", `expected YAML`},
		"broken second":       {"title: x\n---\n[", `expected YAML`},
		"hostile key in path": {"title: x\n\"a\\nb\": 1", `found "a\nb"`},
	} {
		_, err := readSample(c.yaml)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant it to contain %s", name, err, c.want)
		}
		var one *Problem
		var all Problems
		if !errors.As(err, &one) || !errors.As(err, &all) {
			t.Errorf("%s: the error is not typed: %T", name, err)
		}
	}
}

func TestAllProblemsAtOnce(t *testing.T) {
	_, err := readSample("id: A\nword: x\nlevel: y\nnumber: .inf")
	var all Problems
	if !errors.As(err, &all) || len(all) != 5 {
		t.Fatalf("want 5 problems (title is missing, four are wrong), got %v", err)
	}
	many := "title: x\ninner:\n" + strings.Repeat("  - {y: 1}\n", 500)
	_, err = readSample(many)
	if !errors.As(err, &all) || len(all) != maxProblems || !strings.Contains(err.Error(), "and 180 more") {
		t.Errorf("a file full of mistakes must end: %d problems", len(all))
	}
}

func TestReadFile(t *testing.T) {
	dir := t.TempDir()
	if _, err := ReadFile(filepath.Join(dir, "none.yaml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a missing file: %v", err)
	}
	big := filepath.Join(dir, "big.yaml")
	f, err := os.Create(big)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(f.Truncate(maxFile+1), f.Close()); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadFile(big); err == nil || !strings.Contains(err.Error(), "at most 16 MB") {
		t.Errorf("a huge file: %v", err)
	}
	small := filepath.Join(dir, "small.yaml")
	if err := os.WriteFile(small, []byte("title: x"), 0o600); err != nil {
		t.Fatal(err)
	}
	if data, err := ReadFile(small); err != nil || string(data) != "title: x" {
		t.Errorf("%q, %v", data, err)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"", "title: x", "a: &x [*x]", "? {a: b}\n: c", "title: .nan", "- - - a", "{a: {b: [c, {d: !!int x}]}}",
		"title: |\n  a\n  b\n", "\ufefftitle: \"\\u202e\"", "a: 1\n---\nb: 2", "number: 1e400\nwhole: 99999999999999999999", "day: 2026-02-30"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, data string) {
		s, err := readSample(data)
		if err == nil && (s.title == "" || s.number != s.number) {
			t.Errorf("accepted without a title or with a number that is none: %+v", s)
		}
		if err != nil && (!strings.HasPrefix(err.Error(), "s.yaml") || strings.Contains(err.Error(), "\x00")) {
			t.Errorf("message without a place: %q", err)
		}
	})
}
