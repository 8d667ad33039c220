package queries

import (
	"bytes"
	"cmp"
	"encoding/hex"
	"slices"
	"strings"
	"time"

	"hindcheck/pipeline/lanes"
	"hindcheck/queries/walk"
)

// keptChecks are the checks of some episodes as CaseChecks gives them, if a walk over
// their months kept all of them.
func (d *DB) keptChecks(episodes []string, within []Scope) ([]CaseChecksRow, bool) {
	if len(within) != 1 {
		return nil, false
	}
	keys := map[lanes.Key]bool{}
	for _, e := range episodes {
		key, ok := keyOf(e)
		if !ok {
			return nil, false
		}
		keys[key] = true
	}
	months := d.walkedMonths(within[0], keys)
	if months == nil {
		return nil, false
	}
	var kept []*walk.Kept
	for _, m := range months {
		for i := range m.Kept {
			if keys[m.Kept[i].Episode] {
				kept = append(kept, &m.Kept[i])
			}
		}
	}
	slices.SortStableFunc(kept, asAsked)
	out := make([]CaseChecksRow, len(kept))
	for i, k := range kept {
		out[i] = CaseChecksRow{Episode: textOf(k.Episode), Call: textOf(k.Call), Seq: max(k.Seq, 0), Finding: k.Finding, Observer: k.Observer, State: k.State, Reason: k.Reason,
			ValueCode: k.Code, ValueNumber: k.Number, Handling: k.Handling, Treated: k.Treated}
		if k.Asked != nil {
			at := time.UnixMicro(*k.Asked).UTC()
			out[i].AskedAt = &at
		}
	}
	return out, true
}

// walkedMonths are the months of a scope in a walk that kept the checks of these
// episodes; nil if there was none.
func (d *DB) walkedMonths(s Scope, episodes map[lanes.Key]bool) []*walk.Month {
	d.walking.Lock()
	defer d.walking.Unlock()
	for _, w := range d.walked {
		if w == nil || w.months[0] > s.From || w.months[len(w.months)-1] < s.To {
			continue
		}
		kept := true
		for e := range episodes {
			kept = kept && w.wanted[e]
		}
		if first := slices.Index(w.months, s.From); kept && first >= 0 {
			return w.counts[first : first+len(monthsOf(s))]
		}
	}
	return nil
}

// asAsked puts checks in the order of case_checks; what is missing stands last.
func asAsked(a, b *walk.Kept) int {
	vet := map[bool]int{true: 1}
	return cmp.Or(bytes.Compare(a.Episode[:], b.Episode[:]), cmp.Compare(vet[a.Observer == "vet"], vet[b.Observer == "vet"]), missingLast(a.Asked, b.Asked),
		bytes.Compare(a.Call[:], b.Call[:]), cmp.Compare(uint(a.Seq), uint(b.Seq)), strings.Compare(a.Finding, b.Finding))
}

// keyOf reads a pseudonym as questions write it.
func keyOf(text string) (key lanes.Key, ok bool) {
	raw, err := hex.DecodeString(strings.ReplaceAll(text, "-", ""))
	if err != nil || len(raw) != len(key) {
		return key, false
	}
	key = lanes.Key(raw)
	return key, text == textOf(key)
}

// textOf writes a pseudonym as DuckDB does.
func textOf(key lanes.Key) string {
	h := hex.EncodeToString(key[:])
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}
