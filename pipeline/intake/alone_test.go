package intake

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const aloneCalls = head + `
record: calls
blanks: ["", "-"]
columns:
  call: {from: [Call, Line], key: call}
  contact: {first_of: [From, Call], key: contact}
  animal: {from: Animal no, key: animal}
  contact_type: {from: Type, values: {care: clinical, drill: test}}
  started_at: {from: Started, layout: "02.01.2006 15:04"}
  ended_at: {from: Ended, layout: "02.01.2006 15:04"}
  species: {from: Animal, values: {dog: dog, cat: cat}}
  age_months: {from: Age, unit_from: Age unit, units: {years: years, months: months}}
  weight_kg: {from: Weight, unit_from: Weight unit, units: {kg: kg, lb: lb, g: g}}
  call_seconds: {from: Talk, unit: s}
`

const aloneChecks = head + `
record: checks
blanks: ["", "-"]
columns:
  call: {from: [Call, Line], key: call}
  seq: {from: No}
  finding: {from: Item}
  reading: {from: Answer}
  state: {from: Done, values: {ok: done, "no": not_possible}}
  setting: {from: Where, values: {at home: home, in the waiting room: clinic}}
  asked_at: {from: Asked, layout: "02.01.2006 15:04"}
items:
  HEART: {finding: heart_rate, unit: /min}
  GUM: {finding: gum_colour, words: {pink: pink, white: white}}
`

// What a row comes to does not depend on the rows before it, of which keys, words, times
// and numbers are remembered: each row reads as it does in a file of its own.
func TestRowsReadAsAlone(t *testing.T) {
	for name, c := range map[string]struct {
		yaml, header string
		cells        [][]string
	}{
		"calls": {aloneCalls, "Call;Line;From;Animal no;Type;Started;Ended;Animal;Age;Age unit;Weight;Weight unit;Talk", [][]string{
			{"C1", "C1", "C3", "C2", "", "1,5E+09"}, {"1", "1", "1", "2", "-"}, {"", "", "C1", "C3"}, {"A1", "A1", "A2", " A1", ""}, {"care", "care", " care", "drill", "what"},
			{"01.06.2026 10:00", "01.06.2026 10:00", "01.06.2026 24:00", "29.03.2026 02:30", ""}, {"", "-", "01.06.2026 10:07", "01.06.2026 09:00", "soon"},
			{"dog", "cat"}, {"", "7", "10", "7", "-1", "7 years"}, {"years", "months", "Months", "", "weeks"},
			{"", "8", "8,5", "8", "90", "-"}, {"kg", "kg", "lb", "g", "KG", "stone"}, {"", "300", "300", "x", "300 s", "5 min"}}},
		"checks": {aloneChecks, "Call;Line;No;Item;Answer;Done;Where;Asked", [][]string{
			{"C1", "C2", "C1", "C2", ""}, {"1", "1", "1", "2"}, {"1", "2", "", "x"}, {"HEART", "HEART", "GUM", "gum", "TAIL", ""}, {"90", "120", "", "90", "pink", "white", "9000", "-"},
			{"ok", "", "ok", "no"}, {"at home", "in the waiting room", "in the waiting rooms", ""}, {"", "", "01.06.2026 10:00", "01.06.2026 10:00", "31.06.2026 10:00"}}},
	} {
		rng := rand.New(rand.NewPCG(1, 2))
		var rows []string
		for range 250 {
			var row []string
			for _, pool := range c.cells {
				n := (len(pool) + 1) / 2 // cells without fault stand in the first half
				if rng.IntN(6) == 0 {
					n = len(pool)
				}
				row = append(row, pool[rng.IntN(n)])
			}
			if n := len(rows); n > 0 && rng.IntN(2) == 0 { // keys come several times in a row
				copy(row, strings.Split(rows[n-1], ";")[:2])
			}
			rows = append(rows, strings.Join(row, ";"))
		}
		type result struct {
			staged, aside []tuple
			notes         map[string]int64
		}
		together := func(rows []string) result {
			r, staged, aside := read(t, c.yaml, c.header+"\n"+strings.Join(rows, "\n")+"\n", 1)
			return result{staged, aside, r.Notes}
		}
		all := together(rows)
		if len(all.staged) < 20 || len(all.aside) < 20 {
			t.Fatalf("%s: %d staged, %d set aside", name, len(all.staged), len(all.aside))
		}
		rowOf := func(list []tuple, at int, column, row string) tuple {
			if at < len(list) && list[at][column] == row {
				list[at][column] = "2"
				return list[at]
			}
			return nil
		}
		i, k, notes := 0, 0, map[string]int64{}
		for n, row := range rows {
			alone := together([]string{row})
			for note, m := range alone.notes {
				notes[note] += m
			}
			var got []tuple
			if one := rowOf(all.staged, i, "src_row", fmt.Sprint(n+2)); one != nil {
				got, i = append(got, one), i+1
			} else if one := rowOf(all.aside, k, "row", fmt.Sprint(n+2)); one != nil {
				got, k = append(got, one), k+1
			}
			if d := cmp.Diff(append(alone.staged, alone.aside...), got); d != "" {
				t.Fatalf("%s: row %d, %s (-alone +among others):\n%s", name, n+2, row, d)
			}
		}
		if d := cmp.Diff(notes, all.notes); d != "" {
			t.Errorf("%s: notes (-alone +together):\n%s", name, d)
		}
	}
}
