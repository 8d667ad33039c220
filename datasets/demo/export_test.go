package demo

import (
	"bytes"
	"context"
	"encoding/csv"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// memory keeps exports by name.
type memory map[string]*bytes.Buffer

type memoryFile struct{ *bytes.Buffer }

func (memoryFile) Close() error { return nil }

func (m memory) create(name string) (io.WriteCloser, error) {
	b := &bytes.Buffer{}
	m[name] = b
	return memoryFile{b}, nil
}

func generate(t *testing.T, o Options) (memory, Summary) {
	t.Helper()
	m := memory{}
	o.Create = m.create
	s, err := Generate(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	return m, s
}

func TestSameSeedSameBytes(t *testing.T) {
	o := Options{Seed: 7, Calls: 4000}
	a, sa := generate(t, o)
	b, sb := generate(t, o)
	if diff := cmp.Diff(sa, sb); diff != "" {
		t.Errorf("summaries differ: %s", diff)
	}
	for name := range a {
		if b[name] == nil || !bytes.Equal(a[name].Bytes(), b[name].Bytes()) {
			t.Errorf("%s differs between two runs of one seed", name)
		}
	}
	o.Seed = 8
	c, _ := generate(t, o)
	same := 0
	for name := range a {
		if strings.HasPrefix(name, "calls") && c[name] != nil && bytes.Equal(a[name].Bytes(), c[name].Bytes()) {
			same++
		}
	}
	if same > 0 {
		t.Errorf("%d calls files are the same under another seed", same)
	}
}

// rows reads a file as any plain reader would: header and rows with the number
// of cells they have.
func rows(t *testing.T, b []byte, delimiter rune) (header []string, out [][]string) {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(b))
	r.Comma = delimiter
	r.FieldsPerRecord = -1
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[0], all[1:]
}

// counted is what a plain reader finds in the exports.
type counted struct {
	callRows, checkRows, outcomeRows, deliveryRows                  int64
	types                                                           map[string]int64
	dupCalls, dupOutcomes, corrected                                int64
	again, changed                                                  int64
	transfers, several, callBacks, reContacts                       int64
	unknownAnimal, badDate, noKey, cut                              int64
	unknownAnswer, badNumber, outOfRange, blankAnswer, orphanChecks int64
	unknownResult, badSeen, noOutcomeKey, orphanOutcomes            int64
	noCall, audits, auditsLost                                      int64
	stopped, skipped, declined, notPossible, fahrenheit             int64
	calls, checks, outcomes                                         map[string]bool
	lastAdvice                                                      map[string]string
}

// count reads every file in the order in which it was exported.
func count(t *testing.T, files memory, names []string) *counted {
	t.Helper()
	n := &counted{types: map[string]int64{}, calls: map[string]bool{}, checks: map[string]bool{}, outcomes: map[string]bool{}, lastAdvice: map[string]string{}}
	shown := map[string]string{} // call and line -> row in an earlier file
	lines := map[string]bool{}
	for _, name := range names {
		if strings.HasPrefix(name, "calls-") {
			n.readCalls(t, files[name].Bytes(), shown, lines)
		}
	}
	for _, name := range names {
		b := files[name].Bytes()
		switch {
		case strings.HasPrefix(name, "checks-"):
			n.readChecks(t, b)
		case strings.HasPrefix(name, "outcomes-"):
			n.readOutcomes(t, b)
		case strings.HasPrefix(name, "deliveries-"):
			_, all := rows(t, b, ',')
			n.deliveryRows += int64(len(all))
		}
	}
	return n
}

func (n *counted) readCalls(t *testing.T, b []byte, shown map[string]string, lines map[string]bool) {
	header, all := rows(t, b, ';')
	here := map[string]bool{}
	for _, r := range all {
		n.callRows++
		whole := strings.Join(r, ";")
		switch {
		case len(r) != len(header):
			n.cut++
			continue
		case r[0] == "":
			n.noKey++
			continue
		case r[10] == "Parrot?":
			n.unknownAnimal++
			continue
		case strings.HasPrefix(r[6], "31.02."):
			n.badDate++
			continue
		case r[15] == "" && r[3] == "advice": // a broken row has neither age nor unit
			continue
		}
		key := r[0] + "/" + r[1]
		switch before, ok := shown[key]; {
		case here[key]:
			n.dupCalls++
			continue
		case ok:
			n.again++
			if before != whole {
				n.changed++
			}
		default:
			n.types[r[3]]++
			n.first(r, lines)
		}
		here[key], shown[key], n.calls[key] = true, whole, true
		n.lastAdvice[key] = r[20]
	}
}

// first counts a record at its first showing.
func (n *counted) first(r []string, lines map[string]bool) {
	if strings.HasPrefix(r[5], "C") {
		n.transfers++
	}
	if r[1] == "2" && !lines[r[0]] && r[4] == "new" {
		n.several++
		lines[r[0]] = true
	}
	switch r[4] {
	case "ring back":
		n.callBacks++
	case "rang again":
		n.reContacts++
	}
}

func (n *counted) readChecks(t *testing.T, b []byte) {
	_, all := rows(t, b, ';')
	for _, r := range all {
		n.checkRows++
		if key := r[0] + "/" + r[1] + "/" + r[2]; !n.checks[key] && n.calls[r[0]+"/"+r[1]] && !plantedCheck(r) {
			n.checks[key] = true
			n.state(r)
		}
		switch {
		case !n.calls[r[0]+"/"+r[1]]:
			n.orphanChecks++
		case r[4] == "rosy":
			n.unknownAnswer++
		case strings.HasPrefix(r[4], "ca "):
			n.badNumber++
		case r[4] == "385":
			n.outOfRange++
		case r[4] == "" && r[12] == "ok":
			n.blankAnswer++
		}
	}
}

// plantedCheck knows the broken rows among the checks of good calls.
func plantedCheck(r []string) bool {
	return r[4] == "rosy" || strings.HasPrefix(r[4], "ca ") || r[4] == "385" || r[4] == "" && r[12] == "ok"
}

// state counts a check at its first showing.
func (n *counted) state(r []string) {
	switch {
	case r[13] == "stopped: urgent sign":
		n.stopped++
	case r[13] == "form skips":
		n.skipped++
	case r[12] == "would not":
		n.declined++
	case r[12] == "could not":
		n.notPossible++
	case r[3] == "TEMP" && (len(r[4]) > 2 && r[4] != "385" && (r[4][0] == '1' || r[4][0] == '9')):
		n.fahrenheit++
	}
}

func (n *counted) readOutcomes(t *testing.T, b []byte) {
	_, all := rows(t, b, ',')
	seen := map[string]bool{}
	for _, r := range all {
		n.outcomeRows++
		switch {
		case r[0] == "":
			n.noOutcomeKey++
			continue
		case strings.HasPrefix(r[7], "2026-02-30"):
			n.badSeen++
			continue
		case r[10] == "see notes":
			n.unknownResult++
			continue
		case seen[r[0]]:
			n.dupOutcomes++
			continue
		case n.outcomes[r[0]]:
			n.corrected++
		case r[1] != "" && !n.calls[r[1]+"/"+r[2]]:
			n.orphanOutcomes++
		case r[1] == "":
			n.noCall++
		case r[6] == "audit":
			n.audits++
			if r[18] == "n" {
				n.auditsLost++
			}
		}
		seen[r[0]], n.outcomes[r[0]] = true, true
	}
}

func TestPlantedCountsAreInTheFiles(t *testing.T) {
	files, s := generate(t, Options{Seed: 11, Calls: 24000})
	n := count(t, files, s.Names)
	type pair struct {
		name      string
		got, want int64
	}
	for _, p := range []pair{
		{"call records", int64(len(n.calls)), s.CallRecords},
		{"check records", int64(len(n.checks)), s.CheckRecords},
		{"outcome records", int64(len(n.outcomes)), s.OutcomeRecords},
		{"call rows", n.callRows, s.CallRows},
		{"check rows", n.checkRows, s.CheckRows},
		{"outcome rows", n.outcomeRows, s.OutcomeRows},
		{"delivery rows", n.deliveryRows, s.DeliveryRows},
		{"test calls", n.types["line test"], s.TestCalls},
		{"abandoned calls", n.types["hung up"], s.AbandonedCalls},
		{"other matters", n.types["other matter"], s.NotClinicalCalls},
		{"already dead", n.types["already dead"], s.DeadBeforeCalls},
		{"third party", n.types["not the owner"], s.ThirdPartyCalls},
		{"advice records", n.types["advice"], s.Contacts + s.Transfers},
		{"duplicate calls", n.dupCalls, s.DuplicateCallRows},
		{"duplicate outcomes", n.dupOutcomes, s.DuplicateOutcomeRows},
		{"corrected outcomes", n.corrected, s.CorrectedOutcomes},
		{"shown again", n.again, s.OverlapCallRows + s.ReopenedCalls},
		{"transfers", n.transfers, s.Transfers},
		{"several animals", n.several, s.SeveralAnimals},
		{"call-backs", n.callBacks, s.CallBacks},
		{"re-contacts", n.reContacts, s.ReContacts},
		{"unknown animal", n.unknownAnimal, s.Broken.CallUnknownWord},
		{"bad date", n.badDate, s.Broken.CallBadDate},
		{"no call number", n.noKey, s.Broken.CallMissingKey},
		{"cut rows", n.cut, s.Broken.CallCutRow},
		{"unknown answer", n.unknownAnswer, s.Broken.CheckUnknownWord},
		{"bad number", n.badNumber, s.Broken.CheckBadNumber},
		{"out of range", n.outOfRange, s.Broken.CheckOutOfRange},
		{"blank answer", n.blankAnswer, s.Broken.CheckBlankAnswer},
		{"orphan checks", n.orphanChecks, s.OrphanChecks},
		{"stopped early", n.stopped, s.StoppedEarlyChecks},
		{"skipped by the form", n.skipped, s.SkippedChecks},
		{"declined", n.declined, s.DeclinedChecks},
		{"not possible", n.notPossible, s.NotPossibleChecks},
		{"degrees Fahrenheit", n.fahrenheit, s.FahrenheitChecks},
		{"unknown result", n.unknownResult, s.Broken.OutcomeUnknownWord},
		{"bad day seen", n.badSeen, s.Broken.OutcomeBadDate},
		{"no outcome number", n.noOutcomeKey, s.Broken.OutcomeMissingKey},
		{"orphan outcomes", n.orphanOutcomes, s.OrphanOutcomes},
	} {
		if p.got != p.want || p.want == 0 {
			t.Errorf("%s: the files hold %d, the summary says %d, expected the same and not 0", p.name, p.got, p.want)
		}
	}
	var byFile int64
	for _, rows := range s.RowsByFile {
		byFile += rows
	}
	if want := s.CallRows + s.CheckRows + s.OutcomeRows; byFile != want {
		t.Errorf("rows by file add up to %d, want %d", byFile, want)
	}
	if got := float64(s.CallRecords) / 24000; got < 0.98 || got > 1.02 {
		t.Errorf("%d call records, want 24,000 within 2 %%", s.CallRecords)
	}
	if len(files) != s.Files || s.Files != 18*7-1 {
		t.Errorf("%d files written, summary says %d, want 18 months of 7 less the one that never arrives", len(files), s.Files)
	}
}

// A record that is shown again is the same or was planted as different; the
// last showing carries the advice that the truth file names.
func TestLaterExportCarriesTheAdvice(t *testing.T) {
	o := Options{Seed: 12, Calls: 12000}
	files, s := generate(t, o)
	n := count(t, files, s.Names)
	if n.changed == 0 || n.changed > s.EditedCalls+s.ReopenedCalls {
		t.Errorf("%d records differ when shown again, want 1 to %d", n.changed, s.EditedCalls+s.ReopenedCalls)
	}
	var truth bytes.Buffer
	if err := WriteTruth(o, &truth); err != nil {
		t.Fatal(err)
	}
	words := map[string]string{"emergency": "now", "same_day": "today", "soon": "in days", "home_care": "at home"}
	_, all := rows(t, truth.Bytes(), ',')
	if int64(len(all)) != s.Episodes {
		t.Errorf("the truth has %d rows, want one an episode, %d", len(all), s.Episodes)
	}
	for _, r := range all {
		if got := n.lastAdvice[r[0]+"/"+r[1]]; got != words[r[8]] {
			t.Fatalf("call %s line %s: last export says %q, truth %q", r[0], r[1], got, r[8])
		}
	}
}

func TestDaylightSavingHours(t *testing.T) {
	loc, err := time.LoadLocation(Zone)
	if err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(5) {
		files, s := generate(t, Options{Seed: seed})
		repeated, skipped := int64(0), int64(0)
		for _, name := range s.Names {
			if !strings.HasPrefix(name, "calls-") {
				continue
			}
			_, all := rows(t, files[name].Bytes(), ';')
			for _, r := range all {
				if len(r) < 29 {
					continue
				}
				at, err := time.ParseInLocation("02.01.2006 15:04", r[6], loc)
				if err != nil {
					continue
				}
				if at.Format("02.01.2006 15:04") != r[6] {
					skipped++
				}
				_, off1 := at.Add(-time.Hour).Zone()
				_, off2 := at.Add(time.Hour).Zone()
				if off1 > off2 && at.Hour() == 2 && r[4] != "" {
					repeated++
				}
			}
		}
		if skipped != s.Broken.CallSkippedHour || skipped == 0 {
			t.Errorf("seed %d: %d local times do not exist, want %d", seed, skipped, s.Broken.CallSkippedHour)
		}
		if s.RepeatedHourCalls == 0 || repeated < s.RepeatedHourCalls {
			t.Errorf("seed %d: %d rows in a repeated hour, summary says %d records", seed, repeated, s.RepeatedHourCalls)
		}
	}
}

func TestSettingsAreThere(t *testing.T) {
	for _, name := range []string{"calls.yaml", "checks.yaml", "outcomes.yaml", "coverage.yaml", "vet_readings.yaml"} {
		f, err := Sources().Open(name)
		if err != nil {
			t.Error(err)
			continue
		}
		f.Close()
	}
	f, err := Settings().Open("rules.yaml")
	if err != nil {
		t.Fatal(err)
	}
	f.Close()
}

func TestImpossibleOptions(t *testing.T) {
	for _, c := range []struct {
		name string
		o    Options
		want string
	}{
		{"no folder", Options{}, "neither a folder nor a way"},
		{"negative", Options{Calls: -1, Create: Discard}, "calls is -1"},
		{"backwards", Options{From: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 5, 20, 0, 0, 0, 0, time.UTC), Create: Discard}, "is not a later month"},
		{"world", Options{World: 9, Create: Discard}, "unknown world"},
	} {
		_, err := Generate(context.Background(), c.o)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", c.name, err, c.want)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Generate(ctx, Options{Create: Discard}); err == nil {
		t.Error("a cancelled run returned no error")
	}
}

// A short line has no overlap to plan for, and must still work.
func TestSmallLines(t *testing.T) {
	from := time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)
	for _, calls := range []int{1, 2, 37, 500} {
		_, s := generate(t, Options{Seed: 3, Calls: calls, From: from, To: from.AddDate(0, 1, 3)})
		if s.Units == 0 || s.Months != 1 {
			t.Errorf("%d calls over a month: %d units in %d months", calls, s.Units, s.Months)
		}
	}
}

// A second piece is another line with the same advisors: no call, outcome,
// animal or owner is in both, so that both can be loaded into one store.
func TestPiecesShareNoNumbers(t *testing.T) {
	first, _ := generate(t, Options{Seed: 3, Calls: 400})
	second, _ := generate(t, Options{Seed: 3, Calls: 400, Piece: 1})
	numbers := regexp.MustCompile(`\b[ACHOX]\d{4,}\b`)
	seen, other := map[string]bool{}, 0
	for _, b := range first {
		for _, id := range numbers.FindAllString(b.String(), -1) {
			seen[id] = true
		}
	}
	for name, b := range second {
		for _, id := range numbers.FindAllString(b.String(), -1) {
			if other++; seen[id] {
				t.Fatalf("%s: %s is in the first piece too", name, id)
			}
		}
	}
	if len(seen) == 0 || other == 0 {
		t.Fatal("no numbers found")
	}
}
