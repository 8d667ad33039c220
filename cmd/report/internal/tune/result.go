package tune

import (
	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/thresholds"
)

// Format is the version of the JSON shape.
const Format = 1

// Result is everything that report tune says.
type Result struct {
	Format         int                 `json:"format"`
	AsOf           review.AsOf         `json:"as_of"`
	Unit           string              `json:"unit"`
	CaseDefinition string              `json:"case_definition"`
	DefinitionText string              `json:"definition_text"`
	RuleSet        string              `json:"ruleset"`
	Cut            string              `json:"cut"`
	CutLabel       string              `json:"cut_label"`
	Criterion      string              `json:"criterion"`
	Fit            thresholds.Period   `json:"fit"`
	Judge          thresholds.Period   `json:"judge"`
	Standard       thresholds.Standard `json:"standard"`
	// Episodes of the two parts: mature, with advice on record.
	FitEpisodes   int64 `json:"fit_episodes"`
	JudgeEpisodes int64 `json:"judge_episodes"`
	// Tuned are the flags that may move.
	Tuned  []Tuned `json:"tuned"`
	Search Search  `json:"search"`
	// Present are the rules in force, Chosen what the criterion prefers; nil
	// where nothing can be chosen, see NotEstimable.
	Present *Trial `json:"present,omitempty"`
	Chosen  *Trial `json:"chosen,omitempty"`
	// Optimism is what the earlier months promised minus what the later ones
	// show, for the chosen combination.
	Optimism *Optimism `json:"optimism,omitempty"`
	// Holds says whether the later months bear out the promise.
	Holds string `json:"holds,omitempty"`
	// Path runs through the combinations that no other beats, from few referrals
	// to few missed, on the earlier months.
	Path []Step `json:"path"`
	// ByThemselves are the flags that alone send animals in, the costliest first.
	ByThemselves []Flag            `json:"by_themselves"`
	Strata       thresholds.Strata `json:"strata"`
	NotEstimable string            `json:"not_estimable,omitempty"`
	Warnings     []string          `json:"warnings"`
	// Limits says how the limits treat episodes of one animal or advisor.
	Limits   string   `json:"limits"`
	Cautions []string `json:"cautions"`

	moves []move
}

// Tuned is one flag that may move.
type Tuned struct {
	Flag      string `json:"flag"`
	Condition string `json:"condition"`
	Demands   string `json:"demands"`
	// InForce and Chosen are thresholds in words; Chosen says "off" for a flag
	// that the criterion would leave out.
	InForce string `json:"in_force"`
	Chosen  string `json:"chosen,omitempty"`
	// Candidates are the thresholds tried, from the one that marks most to the
	// one that marks fewest.
	Candidates []string `json:"candidates"`
	// Readings are how many of the earlier months it is chosen on.
	Readings int64 `json:"readings"`
}

// Search says how the combinations were looked through.
type Search struct {
	// Combinations of all candidates, Tried how many were judged.
	Combinations float64 `json:"combinations"`
	Tried        int     `json:"tried"`
	// Exact is whether all were; else the search went one flag at a time from
	// several starts, and may miss the best.
	Exact bool `json:"exact"`
	// Patterns is how many different answers the episodes gave.
	Patterns int    `json:"patterns"`
	How      string `json:"how"`
}

// Trial is a combination on both parts of the period. Missed is the share of
// animals in need that the rules would not send in (1 - sensitivity).
type Trial struct {
	Thresholds []string `json:"thresholds"`
	Fit        Part     `json:"fit"`
	Later      Part     `json:"later"`
}

// Part is a combination on some months.
type Part struct {
	Sensitivity review.Figure    `json:"sensitivity"`
	Specificity review.Figure    `json:"specificity"`
	Naive       thresholds.Rates `json:"naive"`
	// PerDay are the episodes a day that the rules would send in.
	PerDay review.Figure `json:"per_day"`
}

// Optimism is a difference of shares with its interval.
type Optimism struct {
	Sensitivity review.Figure `json:"sensitivity"`
	Specificity review.Figure `json:"specificity"`
}

// Step is one combination on the path.
type Step struct {
	Thresholds []string `json:"thresholds"`
	PerDay     float64  `json:"per_day"`
	// Missed is the expected share of animals in need that are not sent in.
	Missed float64 `json:"missed"`
	// Moved are those of Thresholds that differ from the rules in force, with
	// their flags.
	Moved   []string `json:"moved"`
	Present bool     `json:"present"`
	Chosen  bool     `json:"chosen"`
}

// Flag is what one flag adds at the cut, given the order asked.
type Flag struct {
	Flag string `json:"flag"`
	// Alone are verified episodes that only this flag sends in.
	AloneNeeded    int64 `json:"alone_needed"`
	AloneNotNeeded int64 `json:"alone_not_needed"`
	AloneUnknown   int64 `json:"alone_unknown"`
	// PPV is the share in need among the verified of them, Lost the share of all
	// in need that only this flag sends in.
	PPV  review.Figure `json:"alone_ppv"`
	Lost review.Figure `json:"sensitivity_lost"`
	// Cautious marks a flag that looks too cautious: the upper limit of PPV lies
	// below a third of what the rules as a whole reach at least.
	Cautious bool `json:"cautious"`
}

// move is a threshold of a flag to be written.
type move struct {
	flag, condition int
	lower           bool
	at              string
	off             bool
}
