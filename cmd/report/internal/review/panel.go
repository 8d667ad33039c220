package review

import (
	"slices"

	"hindcheck/metrics"
	"hindcheck/pipeline/codes"
	"hindcheck/queries"
)

// Panel sums the case reviews of the period: what reviewers said, how far they
// agree, and which cases an advisor contests.
type Panel struct {
	// Cases were judged by at least one reviewer, Judgements is how many
	// judgements there are, Twice how many cases have two or more.
	Cases      int64 `json:"cases"`
	Judgements int64 `json:"judgements"`
	Twice      int64 `json:"twice"`
	// Contested are episodes of which an advisor asks for another look.
	Contested []string `json:"contested"`
	// Questions are what reviewers were asked.
	Questions []PanelQuestion `json:"questions"`
}

// PanelQuestion is one question of the case review form.
type PanelQuestion struct {
	Question string        `json:"question"`
	Answers  []PanelAnswer `json:"answers"`
	// Agreement is Fleiss' kappa among reviewers of the same case.
	Agreement Figure `json:"agreement"`
}

// PanelAnswer counts the judgements with one answer.
type PanelAnswer struct {
	Answer string `json:"answer"`
	N      int64  `json:"n"`
}

// panelQuestions in the order of the form.
var panelQuestions = []struct {
	text   string
	words  []string
	answer func(queries.CaseJudgementsRow) string
}{
	{"could the need be foreseen at the call?", codes.Judged.Words(), func(x queries.CaseJudgementsRow) string { return x.Foreseeable }},
	{"could the delay be avoided?", codes.Judged.Words(), func(x queries.CaseJudgementsRow) string { return x.Avoidable }},
	{"why was it advised lower?", codes.ReviewReasons.Words(), func(x queries.CaseJudgementsRow) string { return x.ReviewReason }},
}

func (b *builder) fillPanel(r *Review) error {
	rows, err := b.db.CaseJudgements(b.ctx, b.scope)
	if err != nil {
		return err
	}
	r.Panel = Panel{Contested: []string{}, Questions: []PanelQuestion{}}
	by := map[string]int64{}
	var panel []queries.CaseJudgementsRow
	for _, x := range rows {
		if x.Source == "advisor" {
			if !slices.Contains(r.Panel.Contested, x.Episode) {
				r.Panel.Contested = append(r.Panel.Contested, x.Episode)
			}
			continue
		}
		panel = append(panel, x)
		by[x.Episode]++
	}
	r.Panel.Cases, r.Panel.Judgements = int64(len(by)), int64(len(panel))
	for _, n := range by {
		if n > 1 {
			r.Panel.Twice++
		}
	}
	for _, q := range panelQuestions {
		one, err := b.panelQuestion(q.text, q.words, panel, q.answer)
		if err != nil {
			return err
		}
		r.Panel.Questions = append(r.Panel.Questions, one)
	}
	return nil
}

func (b *builder) panelQuestion(text string, words []string, rows []queries.CaseJudgementsRow, answer func(queries.CaseJudgementsRow) string) (PanelQuestion, error) {
	out := PanelQuestion{Question: text}
	counts := make([]int64, len(words))
	var order []string
	byCase := map[string][]int64{}
	for _, x := range rows {
		i := slices.Index(words, answer(x))
		if i < 0 {
			continue
		}
		counts[i]++
		if byCase[x.Episode] == nil {
			byCase[x.Episode] = make([]int64, len(words))
			order = append(order, x.Episode)
		}
		byCase[x.Episode][i]++
	}
	for i, w := range words {
		name := w
		if text == panelQuestions[2].text {
			name = reasonLabel(w)
		}
		out.Answers = append(out.Answers, PanelAnswer{name, counts[i]})
	}
	if len(order) == 0 {
		out.Agreement = Figure{Conf: b.opt.Confidence, NotEstimable: "nobody has answered"}
		return out, nil
	}
	patterns := make([]metrics.ReadingPattern, len(order))
	for i, e := range order {
		patterns[i] = metrics.ReadingPattern{Readings: byCase[e], Animals: 1}
	}
	k, err := metrics.FleissKappa(patterns, b.opt.Confidence)
	out.Agreement = figure(k.Estimate)
	return out, err
}
