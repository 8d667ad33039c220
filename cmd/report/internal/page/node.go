package page

import (
	"encoding/json"
	"fmt"
	"html/template"
	"strconv"
	"strings"
	"time"
)

// Node is one value of the JSON with its path, such as advice.0.missed.
type Node struct {
	path  string
	value any
	notes *notes
}

// root decodes JSON so that whole numbers stay whole.
func root(data []byte) (Node, error) {
	dec := json.NewDecoder(strings.NewReader(string(data)))
	dec.UseNumber()
	var v any
	if err := dec.Decode(&v); err != nil {
		return Node{}, fmt.Errorf("read review: %w", err)
	}
	return Node{value: v, notes: &notes{}}, nil
}

// At follows a path below the node; "self" is the node itself. A key that is not there is an error, so
// that a misspelt path fails a test and never prints a blank.
func (n Node) At(path string) (Node, error) {
	if path == "self" {
		return n, nil
	}
	for _, key := range strings.Split(path, ".") {
		next, ok := n.child(key)
		if !ok {
			return n, fmt.Errorf("no %q below %q", key, n.path)
		}
		n = next
	}
	return n, nil
}

func (n Node) child(key string) (Node, bool) {
	path := key
	if n.path != "" {
		path = n.path + "." + key
	}
	switch v := n.value.(type) {
	case map[string]any:
		x, ok := v[key]
		return Node{path, x, n.notes}, ok
	case []any:
		i, err := strconv.Atoi(key)
		if err != nil || i < 0 || i >= len(v) {
			return n, false
		}
		return Node{path, v[i], n.notes}, true
	}
	return n, false
}

// Has reports whether a path leads to a value that is not empty: not null, "",
// false, 0, [] or {}.
func (n Node) Has(path string) bool {
	x, err := n.At(path)
	if err != nil {
		return false
	}
	switch v := x.value.(type) {
	case nil:
		return false
	case string:
		return v != ""
	case bool:
		return v
	case json.Number:
		return v.String() != "0"
	case []any:
		return len(v) > 0
	case map[string]any:
		return len(v) > 0
	}
	return false
}

// Known reports whether a path leads to anything but null, nought included.
func (n Node) Known(path string) bool {
	x, err := n.At(path)
	return err == nil && x.value != nil
}

// Maybe is the value at a path as a list of one, or of none if it is not there.
func (n Node) Maybe(path string) []Node {
	x, err := n.At(path)
	if err != nil || x.value == nil {
		return nil
	}
	return []Node{x}
}

// Is reports whether a path leads to the given text.
func (n Node) Is(path, text string) bool {
	x, err := n.At(path)
	return err == nil && x.value == text
}

// List gives the elements of an array.
func (n Node) List(path string) ([]Node, error) {
	x, err := n.At(path)
	if err != nil {
		return nil, err
	}
	v, ok := x.value.([]any)
	if !ok {
		return nil, fmt.Errorf("%s is no list", x.path)
	}
	out := make([]Node, len(v))
	for i := range v {
		out[i] = Node{x.path + "." + strconv.Itoa(i), v[i], n.notes}
	}
	return out, nil
}

// Raw is the text of a value for attributes and comparisons.
func (n Node) Raw(path string) (string, error) {
	x, err := n.At(path)
	if err != nil {
		return "", err
	}
	return fmt.Sprint(x.value), nil
}

// span prints a value with its path. as names the format, for the test that
// reads the page back. A per cent sign does not leave its number at a line's end.
func span(path, as, text string) template.HTML {
	return template.HTML(fmt.Sprintf(`<span data-json="%s" data-as="%s">%s</span>`,
		template.HTMLEscapeString(path), as, strings.ReplaceAll(template.HTMLEscapeString(text), " %", "&nbsp;%")))
}

func (n Node) number(path string) (Node, float64, error) {
	x, err := n.At(path)
	if err != nil {
		return x, 0, err
	}
	num, ok := x.value.(json.Number)
	if !ok {
		return x, 0, fmt.Errorf("%s is %T, expected a number", x.path, x.value)
	}
	f, err := num.Float64()
	return x, f, err
}

// formatted prints a number in one of the formats of Formats.
func (n Node) formatted(path, as string) (template.HTML, error) {
	x, f, err := n.number(path)
	if err != nil {
		return "", err
	}
	return span(x.path, as, Formats[as](f)), nil
}

// Int prints a count with commas; a fractional (expected) count is rounded.
func (n Node) Int(path string) (template.HTML, error) { return n.formatted(path, "int") }

// Pct prints a share as per cent with one decimal.
func (n Node) Pct(path string) (template.HTML, error) { return n.formatted(path, "pct") }

// OnScale prints a value on the scale of its chart.
func (n Node) OnScale(scale, path string) (template.HTML, error) {
	switch scale {
	case "share":
		return n.Pct(path)
	case "rare_share":
		return n.formatted(path, "pct2")
	}
	return n.Num(path)
}

// Points prints a difference of shares in percentage points with its sign.
func (n Node) Points(path string) (template.HTML, error) { return n.formatted(path, "points") }

// Prob prints a probability with three decimals, or says that it is smaller.
func (n Node) Prob(path string) (template.HTML, error) { return n.formatted(path, "prob") }

// Num prints a number with two significant decimals, such as a design effect.
func (n Node) Num(path string) (template.HTML, error) { return n.formatted(path, "num") }

// Text prints text, tied to its path.
func (n Node) Text(path string) (template.HTML, error) {
	return n.text(path, "text", func(s string) string { return s })
}

// text prints text as write puts it, tied to its path.
func (n Node) text(path, class string, write func(string) string) (template.HTML, error) {
	x, err := n.At(path)
	if err != nil {
		return "", err
	}
	s, ok := x.value.(string)
	if !ok {
		return "", fmt.Errorf("%s is %T, expected text", x.path, x.value)
	}
	return span(x.path, class, write(s)), nil
}

// Word prints a stored word with blanks for underscores, "not recorded" if empty.
func (n Node) Word(path string) (template.HTML, error) { return n.text(path, "word", Words) }

// Short prints the beginning of a hash, enough for people to compare.
func (n Node) Short(path string) (template.HTML, error) {
	return n.text(path, "short", func(s string) string { return s[:min(12, len(s))] })
}

// Words writes a stored word for people.
func Words(s string) string {
	if s == "" {
		return "not recorded"
	}
	return strings.ReplaceAll(s, "_", " ")
}

// Day prints a time as a day.
func (n Node) Day(path string) (template.HTML, error) {
	x, err := n.At(path)
	if err != nil {
		return "", err
	}
	s, ok := x.value.(string)
	if !ok {
		return "", fmt.Errorf("%s is %T, expected a time", x.path, x.value)
	}
	text, err := day(s)
	if err != nil {
		return "", fmt.Errorf("%s: %w", x.path, err)
	}
	return span(x.path, "day", text), nil
}

func day(s string) (string, error) {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return "", err
	}
	return t.Format("2 Jan 2006"), nil
}

// Formats are the ways to print a number.
var Formats = map[string]func(float64) string{
	"int":    wholeNumber,
	"pct":    func(x float64) string { return strconv.FormatFloat(100*x, 'f', 1, 64) + " %" },
	"pct2":   func(x float64) string { return strconv.FormatFloat(100*x, 'f', 2, 64) + " %" },
	"points": signedPoints,
	"prob": func(x float64) string {
		if x < 0.001 {
			return "below 0.001"
		}
		return strconv.FormatFloat(x, 'f', 3, 64)
	},
	"num": func(x float64) string { return strings.Replace(strconv.FormatFloat(x, 'f', 2, 64), "-", "\u2212", 1) },
}

func wholeNumber(x float64) string {
	sign := ""
	if x < 0 {
		sign, x = "\u2212", -x
	}
	s := strconv.FormatInt(int64(x+0.5), 10)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return sign + s
}

func signedPoints(x float64) string {
	s := strconv.FormatFloat(100*x, 'f', 1, 64)
	switch {
	case s == "-0.0" || s == "0.0":
		return "0.0"
	case strings.HasPrefix(s, "-"):
		return "\u2212" + s[1:]
	}
	return "+" + s
}

// notes gathers footnotes: a warning or reason that several figures share is
// printed once and marked by the same number.
type notes struct{ texts []string }

func (s *notes) mark(text string) int {
	for i, t := range s.texts {
		if t == text {
			return i + 1
		}
	}
	s.texts = append(s.texts, text)
	return len(s.texts)
}

// Notes lists the footnotes since the last call and starts anew.
func (n Node) Notes() []string {
	out := n.notes.texts
	n.notes.texts = nil
	return out
}

// marks prints the footnote marks of texts.
func (n Node) marks(texts ...string) template.HTML {
	if len(texts) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString(`<sup class="fn">`)
	for i, t := range texts {
		if i > 0 {
			b.WriteString(" ")
		}
		fmt.Fprintf(&b, "%d", n.notes.mark(t))
	}
	b.WriteString("</sup>")
	return template.HTML(b.String())
}

// warnings are the texts that belong beside a figure.
func (n Node) warnings() []string {
	var out []string
	if w, ok := n.child("warnings"); ok {
		if list, ok := w.value.([]any); ok {
			for _, x := range list {
				out = append(out, fmt.Sprint(x))
			}
		}
	}
	return out
}

// Fig prints a share with its limits and footnotes, or "not estimable".
func (n Node) Fig(path string) (template.HTML, error) { return n.fig(path, "pct") }

// FigInt prints an estimated number of episodes with its limits.
func (n Node) FigInt(path string) (template.HTML, error) { return n.fig(path, "int") }

// FigPoints prints a difference with its limits.
func (n Node) FigPoints(path string) (template.HTML, error) { return n.fig(path, "points") }

// FigNum prints a ratio with its limits.
func (n Node) FigNum(path string) (template.HTML, error) { return n.fig(path, "num") }

func (n Node) fig(path, as string) (template.HTML, error) {
	f, err := n.At(path)
	if err != nil {
		return "", err
	}
	if !f.Has("estimate") {
		if _, known := f.child("estimate"); !known {
			reason, ok := f.child("not_estimable")
			if !ok {
				return "", fmt.Errorf("%s is no figure", f.path)
			}
			return `<span class="ne">not estimable</span>` + n.marks(fmt.Sprint(reason.value)), nil
		}
	}
	est, err := f.formatted("estimate", as)
	if err != nil {
		return "", err
	}
	ci, err := f.interval(as)
	if err != nil {
		return "", err
	}
	return `<span class="est">` + est + `</span>` + ci + n.marks(f.warnings()...), nil
}

// interval prints the limits of a figure; in a table the parentheses are left
// out and both limits keep to columns of their own.
func (f Node) interval(as string) (template.HTML, error) {
	low, hasLow := f.child("low")
	high, hasHigh := f.child("high")
	if !hasLow && !hasHigh {
		return "", nil
	}
	var l, h template.HTML
	var err error
	if hasLow {
		if l, err = low.limit(as); err != nil {
			return "", err
		}
	}
	if hasHigh {
		if h, err = high.limit(as); err != nil {
			return "", err
		}
	}
	words := `<span class="lo">` + l + `</span>&nbsp;to&nbsp;<span class="hi">` + h + `</span>`
	if !hasHigh {
		words = `<span class="lo">` + l + `</span> or more`
	} else if !hasLow {
		words = `<span class="lo">` + h + `</span> or less`
	}
	return ` <span class="ci"><span class="par">(</span>` + words + `<span class="par">)</span></span>`, nil
}

// limit prints a limit; per cent signs stand once, after the estimate.
func (n Node) limit(as string) (template.HTML, error) {
	num, ok := n.value.(json.Number)
	if !ok {
		return "", fmt.Errorf("%s is no number", n.path)
	}
	f, err := num.Float64()
	if err != nil {
		return "", err
	}
	return span(n.path, as+"-bare", strings.TrimSuffix(Formats[as](f), " %")), nil
}

// Of prints the fraction behind a figure: 12 of 345.
func (n Node) Of(path string) (template.HTML, error) {
	f, err := n.At(path)
	if err != nil {
		return "", err
	}
	num, err := f.Int("numerator")
	if err != nil {
		return "", err
	}
	den, err := f.Int("denominator")
	if err != nil {
		return "", err
	}
	return num + " of " + den, nil
}

// Range prints assumption-free bounds.
func (n Node) Range(path, as string) (template.HTML, error) {
	r, err := n.At(path)
	if err != nil {
		return "", err
	}
	low, ok := r.child("low")
	high, ok2 := r.child("high")
	if !ok || !ok2 {
		if reason, ok := r.child("undefined"); ok {
			return `<span class="ne">none</span>` + n.marks(fmt.Sprint(reason.value)), nil
		}
		return "", fmt.Errorf("%s is no range", r.path)
	}
	l, err := low.limit(as)
	if err != nil {
		return "", err
	}
	h, err := r.formatted("high", as)
	if err != nil {
		return "", err
	}
	_ = high
	return `<span class="lo">` + l + `</span>&nbsp;to&nbsp;<span class="hi pc">` + h + `</span>`, nil
}

// Sort is the number by which a column is sorted; a figure without a value
// sorts last.
func (n Node) Sort(path string) string {
	if _, f, err := n.number(path); err == nil {
		return strconv.FormatFloat(f, 'g', -1, 64)
	}
	return "-1"
}

// float is a number for drawing; ok is false where there is none.
func (n Node) float(path string) (float64, bool) {
	_, f, err := n.number(path)
	return f, err == nil
}

// States are the reasons why a flag could not be judged, in the page's order.
func (n Node) States() []string {
	return []string{"not_asked", "stopped_early", "not_possible", "declined", "unreadable", "animal_not_described"}
}
