package replay

import (
	"testing"

	"hindcheck/queries"
)

// By hand, levels 1 home to 4 emergency: what would have been advised under the old
// and the new rules, with the advisor's raise kept.
func TestRaisesKept(t *testing.T) {
	for name, c := range map[string]struct{ advice, oldRule, newRule, old, new int8 }{
		"followed, rule lowered":            {4, 4, 2, 4, 2},
		"followed, rule raised":             {1, 1, 3, 1, 3},
		"raised above, rule lowered":        {4, 3, 1, 4, 4},
		"raised above, rule raised further": {2, 1, 3, 2, 3},
		"lowered below: the rules stand":    {1, 3, 3, 3, 3},
		"nothing assessed, advisor decided": {3, 0, 0, 3, 3},
		"no advice on record":               {0, 1, 3, 1, 3},
	} {
		r := queries.ReplayCountsRow{Level: c.advice, OldLevel: c.oldRule, NewLevel: c.newRule}
		if old, new := kept.levels(&r); old != c.old || new != c.new {
			t.Errorf("%s: %d and %d, want %d and %d", name, old, new, c.old, c.new)
		}
		if old, new := exact.levels(&r); old != c.oldRule || new != c.newRule {
			t.Errorf("%s, followed exactly: %d and %d", name, old, new)
		}
	}
}
