package page

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/net/html"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

func options() review.Options {
	return review.Options{Confidence: 0.95, Lag: 45 * 24 * time.Hour, UnderLimit: 0.05, OverLimit: 0.5, LimitSource: "set by the line's clinical lead", Draws: 300}
}

var year struct {
	sync.Once
	review *review.Review
}

// yearReview is the review of the invented year, built once.
func yearReview(t *testing.T) *review.Review {
	t.Helper()
	year.Do(func() { year.review = build(t, queriestest.Year(t, 8000, 0.08)) })
	if year.review == nil {
		t.Fatal("no review")
	}
	return year.review
}

func build(t *testing.T, d *queries.DB) *review.Review {
	t.Helper()
	r, err := review.Build(context.Background(), d, options())
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// sideBySide is a review with a second period, a second definition (the same)
// and dated changes beside it.
func sideBySide(t *testing.T) *review.Review {
	t.Helper()
	d, db := queriestest.YearTables(t, 2500, 0.1)
	if _, err := db.Exec("INSERT INTO stored_cases SELECT * FROM cases"); err != nil {
		t.Fatal(err)
	}
	opt := options()
	opt.Also, opt.CompareFrom, opt.CompareTo = d, 202507, 202507
	opt.Events = []review.Event{{Date: time.Date(2026, 2, 3, 0, 0, 0, 0, time.UTC), What: "a new telephone", Source: "file", NewLimits: true}}
	r, err := review.Build(context.Background(), d, opt)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Beside) != 2 || len(r.Events) != 1 {
		t.Fatalf("%d beside, %d events", len(r.Beside), len(r.Events))
	}
	return r
}

// edges are reviews of thin and odd stores.
func edges(t *testing.T) map[string]*review.Review {
	t.Helper()
	meta := queriestest.YearMeta()
	none := strings.Repeat("-", len(meta.Flags))
	day := func(m time.Month) time.Time { return time.Date(2026, m, 2, 9, 0, 0, 0, time.UTC) }
	out := map[string]*review.Review{"no follow-up": build(t, queriestest.Year(t, 1500, 0))}
	for name, rows := range map[string][]queriestest.Row{
		"no calls":          nil,
		"no outcomes":       {{"started_at": day(6), "level": 4, "flags": none}, {"started_at": day(6), "level": 1, "flags": none}},
		"all immature":      {{"started_at": day(10), "level": 4, "flags": none, "route": 1, "need_same_day": 1, "need_emergency": 1}},
		"nothing escalated": {{"started_at": day(6), "level": 1, "flags": none, "route": 3, "need_same_day": 0, "need_emergency": 0}},
		"one missed case":   {{"started_at": day(6), "level": 1, "flags": none, "route": 2, "need_same_day": 1, "need_emergency": 1, "died": true}},
	} {
		d, db := queriestest.Open(t, meta)
		for i, row := range rows {
			row["n"] = i + 1
			queriestest.Case(t, db, meta, row)
		}
		out[name] = build(t, d)
	}
	bare := queries.Meta{DataCut: day(10)}
	d, _ := queriestest.Open(t, bare)
	out["no rules and no dictionary"] = build(t, d)
	return out
}

// render writes the page and returns it parsed, with the JSON it came from.
func render(t *testing.T, r *review.Review) (*html.Node, any) {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, r); err != nil {
		t.Fatal(err)
	}
	doc, err := html.Parse(&b)
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var tree any
	if err := json.Unmarshal(data, &tree); err != nil {
		t.Fatal(err)
	}
	return doc, tree
}

// each calls visit for every element below n.
func each(n *html.Node, visit func(*html.Node)) {
	if n.Type == html.ElementNode {
		visit(n)
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		each(c, visit)
	}
}

func attr(n *html.Node, name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

func content(n *html.Node) string {
	if n.Type == html.TextNode {
		return strings.ReplaceAll(n.Data, "\u00a0", " ")
	}
	var b strings.Builder
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		b.WriteString(content(c))
	}
	return b.String()
}

// lookup follows a path in the JSON.
func lookup(tree any, path string) (any, bool) {
	for _, key := range strings.Split(path, ".") {
		switch v := tree.(type) {
		case map[string]any:
			x, ok := v[key]
			if !ok {
				return nil, false
			}
			tree = x
		case []any:
			var i int
			if _, err := fmt.Sscan(key, &i); err != nil || i >= len(v) {
				return nil, false
			}
			tree = v[i]
		default:
			return nil, false
		}
	}
	return tree, true
}

// shown is how a JSON value is printed in a format; it is written apart from
// the page's own formatting so that the two can disagree.
func shown(value any, as string) string {
	switch v := value.(type) {
	case string:
		switch as {
		case "word":
			if v == "" {
				return "not recorded"
			}
			return strings.ReplaceAll(v, "_", " ")
		case "short":
			return fmt.Sprintf("%.12s", v)
		case "day":
			at, _ := time.Parse(time.RFC3339Nano, v)
			return at.Format("2 Jan 2006")
		}
		return v
	case float64:
		as, bare := strings.CutSuffix(as, "-bare")
		s := ""
		switch as {
		case "int":
			if v < 0 {
				return "\u2212" + shown(-v, as)
			}
			s = fmt.Sprintf("%d", int64(v+0.5))
			if n := len(s); n > 6 {
				s = s[:n-6] + "," + s[n-6:n-3] + "," + s[n-3:]
			} else if n > 3 {
				s = s[:n-3] + "," + s[n-3:]
			}
		case "pct":
			s = fmt.Sprintf("%.1f", 100*v)
			if !bare {
				s += " %"
			}
		case "points":
			s = strings.Replace(fmt.Sprintf("%+.1f", 100*v), "-", "\u2212", 1)
			if s == "+0.0" || s == "\u22120.0" {
				s = "0.0"
			}
		case "prob":
			if s = fmt.Sprintf("%.3f", v); s == "0.000" || v < 0.001 {
				s = "below 0.001"
			}
		case "num":
			s = strings.Replace(fmt.Sprintf("%.2f", v), "-", "\u2212", 1)
		}
		return s
	}
	return fmt.Sprintf("%v", value)
}

var digit = regexp.MustCompile(`\d`)

// Every number on the page stands in the JSON, at the path beside it, and
// nothing that looks like a number stands outside such a tie.
func TestEveryNumberIsInTheJSON(t *testing.T) {
	reviews := edges(t)
	reviews["year"] = yearReview(t)
	reviews["side by side"] = sideBySide(t)
	for name, r := range reviews {
		t.Run(name, func(t *testing.T) {
			doc, tree := render(t, r)
			ties := 0
			each(doc, func(n *html.Node) {
				path, ok := attr(n, "data-json")
				if !ok {
					return
				}
				ties++
				as, _ := attr(n, "data-as")
				value, ok := lookup(tree, path)
				if !ok {
					t.Errorf("%s is not in the JSON", path)
				} else if want := shown(value, as); content(n) != want {
					t.Errorf("%s: the page says %q, the JSON %v (%q)", path, content(n), value, want)
				}
			})
			if ties < 100 {
				t.Errorf("only %d ties", ties)
			}
			loose(t, doc)
		})
	}
}

// loose reports digits in text that has no tie and is not marked as literal.
func loose(t *testing.T, n *html.Node) {
	t.Helper()
	if n.Type == html.ElementNode {
		if _, tied := attr(n, "data-json"); tied {
			return
		}
		if _, literal := attr(n, "data-lit"); literal {
			return
		}
		class, _ := attr(n, "class")
		// Footnotes repeat reasons and warnings of the JSON; tick labels of a
		// figure are its scale.
		if slices.Contains([]string{"style", "script", "svg", "title", "sup"}, n.Data) || class == "fn" {
			return
		}
	}
	if n.Type == html.TextNode && digit.MatchString(n.Data) {
		t.Errorf("a number without a tie: %q", strings.TrimSpace(n.Data))
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		loose(t, c)
	}
}

func TestStructure(t *testing.T) {
	doc, _ := render(t, yearReview(t))
	ids, count := map[string]int{}, map[string]int{}
	each(doc, func(n *html.Node) {
		count[n.Data]++
		if v, ok := attr(n, "id"); ok {
			ids[v]++
		}
		for _, a := range n.Attr {
			if slices.Contains([]string{"src", "href", "srcset", "action"}, a.Key) && !strings.HasPrefix(a.Val, "#") {
				t.Errorf("%s %s=%q leads out of the file", n.Data, a.Key, a.Val)
			}
		}
		switch n.Data {
		case "table":
			if n.Parent == nil || !strings.Contains(fmt.Sprint(n.Parent.Attr), "scroll") {
				t.Error("a table without a scrolling frame breaks the page of a telephone")
			}
		case "svg":
			_, hidden := attr(n, "aria-hidden")
			if role, _ := attr(n, "role"); !hidden && (role != "img" || n.FirstChild == nil || n.FirstChild.Data != "title") {
				t.Error("a figure without role, title or description")
			}
		}
	})
	for id, n := range ids {
		if n > 1 {
			t.Errorf("id %q stands %d times", id, n)
		}
	}
	for _, id := range []string{"conclusion", "month", "accuracy", "levels", "flags", "trend", "cases", "checks", "safety", "data", "methods"} {
		if ids[id] != 1 {
			t.Errorf("no section %q", id)
		}
	}
	if count["h1"] != 1 || count["script"] != 1 || count["link"] != 0 || count["img"] != 0 || count["iframe"] != 0 {
		t.Errorf("elements: %v", count)
	}
	text := content(doc)
	for _, must := range []string{"not a diagnosis", "licensed veterinary professional", "emergency sign is seen", "sees a doctor", "not escalated although needed / all that needed it"} {
		if !strings.Contains(text, must) {
			t.Errorf("the page does not say %q", must)
		}
	}
}

// A stored JSON gives the same page again.
func TestFromStoredJSON(t *testing.T) {
	r := yearReview(t)
	var direct, stored bytes.Buffer
	if err := HTML(&direct, r); err != nil {
		t.Fatal(err)
	}
	data, _ := json.MarshalIndent(r, "", "  ")
	if err := FromJSON(&stored, data); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(direct.Bytes(), stored.Bytes()) {
		t.Error("the pages differ")
	}
	if err := FromJSON(&stored, []byte(`{"format": 1}`)); err == nil {
		t.Error("a JSON without the parts of a review must be an error")
	}
}

// Text in the records must not become markup.
func TestEscapes(t *testing.T) {
	r := *yearReview(t)
	r.CaseDefinition = `<script>alert(1)</script>`
	r.Missed.InMonth = []review.Case{{Species: `"><img src=x>`, Flags: []string{"<b>"}, Disposition: "died",
		Timeline: []review.Step{}, Nearly: []review.NearFlag{}, Judgements: []review.Judgement{}, Because: []string{}}}
	var b bytes.Buffer
	if err := HTML(&b, &r); err != nil {
		t.Fatal(err)
	}
	if s := b.String(); strings.Contains(s, "<script>alert") || strings.Contains(s, "<img") || strings.Contains(s, "<b></span>") {
		t.Error("text of the records stands as markup")
	}
}

func TestText(t *testing.T) {
	for name, r := range edges(t) {
		var b bytes.Buffer
		if err := Text(&b, r); err != nil || !strings.Contains(b.String(), "does not allow a conclusion") && name != "no follow-up" && name != "one missed case" {
			t.Errorf("%s: %v\n%s", name, err, b.String())
		}
	}
	r := yearReview(t)
	var b bytes.Buffer
	if err := Text(&b, r); err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(b.String(), "\n") {
		if strings.Contains(line, "%!") || len([]rune(line)) > 260 {
			t.Errorf("line %q", line)
		}
	}
	if !strings.Contains(b.String(), textFigure(r.Advice[0].Under[0].Corrected)) {
		t.Error("the text does not hold under-triage")
	}
}

// The CSV holds the figures of the JSON, one row each.
func TestCSV(t *testing.T) {
	r := yearReview(t)
	var b bytes.Buffer
	if err := CSV(&b, r); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]string{
		"advice same_day sensitivity corrected": number(r.Advice[0].Corrected.Sensitivity.Estimate),
		"rules emergency npv naive":             number(r.Rules[1].Naive.NPV.Estimate),
		"flag same_day ppv corrected":           number(r.Flags[0].Flags[0].Corrected.PPV.Estimate),
	}
	for _, row := range rows[1:] {
		key := strings.Join([]string{row[0], row[1], row[4], row[5]}, " ")
		if value, ok := want[key]; ok {
			if row[6] != value {
				t.Errorf("%s: %s, want %s", key, row[6], value)
			}
			delete(want, key)
		}
		if row[6] == "" && row[13] == "" && row[5] != "possible range" {
			t.Errorf("%v: neither a value nor a reason", row)
		}
	}
	if len(want) > 0 {
		t.Errorf("not in the CSV: %v", want)
	}
}

func TestNodeErrors(t *testing.T) {
	n, err := root([]byte(`{"a": {"b": [1, "x"]}, "f": {"not_estimable": "why", "denominator": 0}}`))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"c", "a.c", "a.b.2", "a.b.x", "a.b.0.d"} {
		if _, err := n.At(path); err == nil {
			t.Errorf("%s: no error", path)
		}
	}
	if _, err := n.Int("a.b.1"); err == nil {
		t.Error("text as a number: no error")
	}
	if _, err := n.Text("a.b.0"); err == nil {
		t.Error("a number as text: no error")
	}
	if _, err := n.Fig("a"); err == nil {
		t.Error("an object that is no figure: no error")
	}
	one, _ := n.Fig("f")
	two, _ := n.Fig("f")
	if one != two || !strings.Contains(string(one), `<sup class="fn">1</sup>`) || len(n.Notes()) != 1 || len(n.Notes()) != 0 {
		t.Errorf("footnotes: %s, %s", one, two)
	}
}

// A share of one in a thousand keeps a figure that tells it from its limit.
func TestOnScale(t *testing.T) {
	n, err := root([]byte(`{"v": 0.00384}`))
	if err != nil {
		t.Fatal(err)
	}
	for scale, want := range map[string]string{"share": ">0.4&nbsp;%<", "rare_share": ">0.38&nbsp;%<", "days": ">0.00<"} {
		if got, err := n.OnScale(scale, "v"); err != nil || !strings.Contains(string(got), want) {
			t.Errorf("on the scale %s: %q, %v; want %s", scale, got, err, want)
		}
	}
}
