package strict

import "testing"

func TestLiteral(t *testing.T) {
	doc, root := Parse("x.yaml", []byte("a: \"\"\nb: \"\\t\"\nc: 0\nd: true\ne: \"-\"\nf: [1]\ng: {h: 1}\ni: ~\n"))
	m := root.Map("a", "b", "c", "d", "e", "f", "g", "i")
	for k, want := range map[string]string{"a": "", "b": "\t", "c": "0", "d": "true", "e": "-"} {
		if s, ok := m.Get(k).Literal(); !ok || s != want {
			t.Errorf("%s is %q, %v; want %q", k, s, ok, want)
		}
	}
	if doc.Err() != nil {
		t.Errorf("single values are refused: %v", doc.Err())
	}
	for _, k := range []string{"f", "g", "i"} {
		if s, ok := m.Get(k).Literal(); ok {
			t.Errorf("%s is read as %q", k, s)
		}
	}
	if ps, _ := doc.Err().(Problems); len(ps) != 3 {
		t.Errorf("problems: %v", doc.Err())
	}
	if !m.Get("f").IsList() || m.Get("g").IsList() || !m.Get("g").IsGroup() || m.Get("c").IsGroup() || (Node{}).IsList() || (Node{}).IsGroup() {
		t.Error("lists and groups are not told apart")
	}
	if s, ok := (Node{}).Literal(); ok || s != "" {
		t.Error("a missing node has a value")
	}
}
