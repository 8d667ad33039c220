package intake

import (
	"os"
	"path/filepath"
	"testing"
)

// nastyList numbers what breaks in real exports (common practice of the trade)
// and names the cases that hold it. What shows only against the store is tested
// where its name in brackets stands.
var nastyList = map[int][]string{
	// File.
	1: {"bom"}, 2: {"utf16"}, 3: {"windows-1252", "windows-1252-in-utf8", "two-encodings-in-an-unmapped-column"}, 4: {"double-encoded-degree"},
	5: {"line-ends-cr", "line-ends-mixed"}, 6: {"no-final-newline"}, 7: {"delimiter-other", "tabs", "delimiter-mixed"},
	8: {"quotes-in-quotes", "newline-in-a-cell"}, 9: {"nul-bytes", "nul-padding"}, 10: {"cut-off-last-row"}, 11: {"zip", "workbook-that-is-html"}, 12: {"empty", "header-only"},
	// Header.
	13: {"title-rows", "totals-row"}, 14: {"header-repeated"}, 15: {"column-twice", "column-renamed", "columns-reordered"}, 16: {"trailing-empty-columns", "trailing-empty-rows"},
	// Numbers.
	17: {"decimal-comma", "decimal-point-in-a-comma-file", "thousands-dot", "thousands-dot-misplaced"}, 18: {"two-units-in-one-column"},
	19: {"comparisons-and-ranges"}, 20: {"unit-in-the-cell"}, 21: {"no-break-spaces", "smart-quotes-and-dashes", "look-alike-letters"},
	// Dates.
	22: {"month-first", "other-date-layout"}, 23: {"two-digit-year"}, 24: {"serial-day-numbers", "serial-1904"}, 25: {"zero-of-a-spreadsheet"},
	26: {"hour-twice"}, 27: {"hour-twice", "hour-twice-later", "hour-twice-set-aside", "hour-never", "hour-never-shifted"}, 28: {"24-00", "24-30"},
	29: {"seconds-there", "milliseconds"}, 30: {"end-before-start", "across-midnight"}, 31: {"future"}, 32: {"[resolve/outcomes_test.go]"},
	// Spreadsheet damage.
	33: {"key-with-exponent"}, 34: {"leading-zeros"}, 35: {"text-became-a-date"}, 36: {"formula-cells"},
	// Codes and blanks.
	37: {"yes-in-many-words"}, 38: {"blanks-in-many-words", "blanks-that-are-not-stated", "blank-and-done"}, 39: {"undocumented-code"}, 40: {"codes-out-of-order"},
	41: {"rule-version-missing", "column-renamed"}, 42: {"skip-logic", "blank-is-not-asked"}, 43: {"rule-version-missing"},
	// Calls.
	44: {"exact-duplicates"}, 45: {"exported-again-after-an-edit"}, 46: {"exported-again-after-an-edit"}, 47: {"transfer"}, 48: {"call-back-and-worse"},
	49: {"call-back-and-worse"}, 50: {"several-animals"}, 51: {"[resolve/outcomes_test.go]"}, 52: {"no-triage"}, 53: {"advisor-override"}, 54: {"refused-by-the-owner"},
	// Animals and keys.
	55: {"species-as-breed"}, 56: {"sex-in-codes"}, 57: {"age-as-text"}, 58: {"weight-zero", "weight-of-another-species"}, 59: {"one-key-for-many-animals"}, 60: {"one-key-for-many-animals", "[load_test.go]"},
	// Outcomes and privacy.
	61: {"[resolve/outcomes_test.go]"}, 62: {"several-of-a-call"}, 63: {"death-on-a-late-invoice"}, 64: {"only-text"}, 65: {"belongs-to-nothing", "[resolve/checks_test.go]"},
	66: {"prose-in-a-word-column", "names-and-telephones"},
}

func TestEveryNastyInputHasACase(t *testing.T) {
	for n := 1; n <= 66; n++ {
		if len(nastyList[n]) == 0 {
			t.Errorf("number %d has no case", n)
		}
		for _, name := range nastyList[n] {
			path := filepath.Join("testdata/nasty", name+".txt")
			if name[0] == '[' {
				path = filepath.Join("..", name[1:len(name)-1])
			}
			if _, err := os.Stat(path); err != nil {
				t.Errorf("number %d: %v", n, err)
			}
		}
	}
}
