package page

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"hindcheck/cmd/report/internal/review"
)

func oneCase() review.Case {
	at := time.Date(2026, 6, 10, 9, 0, 0, 0, time.UTC)
	return review.Case{
		Call: "00000000-0000-0000-0000-000000000001", StartedAt: at, Species: "cat", Complaint: "<b>breathing", Advised: "home care", Needed: "emergency",
		Reason: "no_flag", Label: "no flag covers it", Because: []string{}, Flags: []string{}, Nearly: []review.NearFlag{}, Judgements: []review.Judgement{},
		Timeline: []review.Step{
			{What: "first contact", Advised: "home care", Notes: []string{"told when to ring again"}, Checks: []review.CheckRead{{Label: "Gum colour", State: "declined"}}},
			{Hours: 3.5, What: "seen by a vet", Notes: []string{"result: died"}, Checks: []review.CheckRead{}},
		},
	}
}

// What a reviewer sees before judging holds neither the advice nor the outcome.
func TestCaseSheetHidesTheAdvice(t *testing.T) {
	var b bytes.Buffer
	if err := CasesHTML(&b, &review.CaseSheets{Month: "2026-06", MonthLabel: "June 2026", Cases: []review.Case{oneCase()}, Reasons: []review.ReasonCount{}}); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	begin := strings.Index(text, "Heard on the telephone")
	end := strings.Index(text, "<details")
	if begin < 0 || end < begin {
		t.Fatalf("no two halves in\n%s", text)
	}
	first, second := text[begin:end], text[end:]
	for _, secret := range []string{"<b data", "seen by a vet", "result: died", "no flag covers it", "Advised", "told when", "3.50"} {
		if strings.Contains(first, secret) {
			t.Errorf("the first half tells %q", secret)
		}
	}
	for _, shown := range []string{"seen by a vet", "result: died", "foreseeable", "avoidable"} {
		if strings.Count(second, shown) < 2 { // on the screen and overleaf on paper
			t.Errorf("the second half does not tell %q twice", shown)
		}
	}
	if !strings.Contains(first, "Gum colour") || !strings.Contains(first, "declined") || strings.Contains(text, "<b>breathing") {
		t.Error("what was heard is missing, or not escaped")
	}
}

// Every sheet carries the cautions; the one to telephone from says first what
// to do with an animal that sounds unwell.
func TestSheetsCaution(t *testing.T) {
	d := &review.Draw{ID: "2026-07-13-1", On: time.Date(2026, 7, 13, 0, 0, 0, 0, time.UTC), Strata: []review.DrawStratum{}, LeftOut: []review.DrawReason{}, Plan: []review.DrawPlan{},
		Calls: []review.DrawnCall{{Call: "x", Species: "dog", Advised: "soon", Probability: 0.125}}}
	f := &review.Feedback{Checks: []review.FeedbackCheck{}, Changes: []review.FeedbackChange{}, CameOf: []review.OverrideOutcome{}, Cases: []review.Case{oneCase()},
		Above: few(), Below: few(), SafetyNet: few(), Hurt: review.FeedbackHurt{LineShare: few().Hers, Calls: []review.HurtCall{}}}
	for name, write := range map[string]func(*bytes.Buffer) error{
		"draw":     func(b *bytes.Buffer) error { return DrawHTML(b, d) },
		"feedback": func(b *bytes.Buffer) error { return FeedbackHTML(b, f) },
		"cases": func(b *bytes.Buffer) error {
			return CasesHTML(b, &review.CaseSheets{Cases: []review.Case{}, Reasons: []review.ReasonCount{}})
		},
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, caution := range []string{"not a diagnosis", "seen at once", "sees a doctor"} {
			if !strings.Contains(b.String(), caution) {
				t.Errorf("%s does not say %q", name, caution)
			}
		}
		if name == "draw" && !strings.Contains(b.String(), "it is sent in now if a sign asks for it") {
			t.Error("nothing about an animal that sounds unwell now")
		}
		if name == "feedback" && (strings.Contains(b.String(), "missed") && !strings.Contains(b.String(), "no rate of missed cases") || strings.Contains(b.String(), "rank")) {
			t.Error("a rate of misses or a ranking")
		}
	}
	var form bytes.Buffer
	if err := DrawCSV(&form, d); err != nil || !strings.Contains(form.String(), "\n2026-07-13-1,x,0001-01-01 00:00,dog,,soon,0.125,") {
		t.Errorf("%v, form %q", err, form.String())
	}
}

func few() review.FeedbackShare {
	return review.FeedbackShare{Hers: review.Figure{NotEstimable: "it would rest on fewer than 10 records"}}
}
