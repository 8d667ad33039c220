package thresholds

import "hindcheck/cmd/report/internal/review"

// Format is the version of the JSON shape.
const Format = 1

// Result is everything that report thresholds says about one finding.
type Result struct {
	Format         int         `json:"format"`
	AsOf           review.AsOf `json:"as_of"`
	Unit           string      `json:"unit"`
	CaseDefinition string      `json:"case_definition"`
	DefinitionText string      `json:"definition_text"`
	RuleSet        string      `json:"ruleset"`
	Finding        string      `json:"finding"`
	Label          string      `json:"label"`
	// UnitOf is the unit of every value and threshold.
	UnitOf string `json:"unit_of"`
	// Decimals of every value that are stored.
	Decimals int `json:"decimals"`
	// Direction is the bad end of the scale, as the dictionary states it.
	Direction string `json:"direction"`
	Cut       string `json:"cut"`
	CutLabel  string `json:"cut_label"`
	// Setting is where the readings were made; readings elsewhere are left out.
	Setting string `json:"setting"`
	// Whole is the period of the distribution, the curve and the candidates; a
	// threshold is chosen on Fit and judged on Judge.
	Whole    Period   `json:"whole"`
	Fit      Period   `json:"fit"`
	Judge    Period   `json:"judge"`
	Standard Standard `json:"standard"`
	Groups   []Group  `json:"groups"`
	// Notes hold for all groups.
	Notes    []string `json:"notes"`
	Cautions []string `json:"cautions"`
}

// Period is a span of months, both included, and its length.
type Period struct {
	From string `json:"from"`
	To   string `json:"to"`
	Days int    `json:"days"`
}

// Standard is by what thresholds are judged.
type Standard struct {
	Confidence  float64 `json:"confidence"`
	MinVerified int     `json:"min_verified"`
	Seed        uint64  `json:"seed"`
	Draws       int     `json:"draws"`
}

// Group is one species, or all of them where their physiology does not differ.
type Group struct {
	// Name is a species, or all.
	Name    string   `json:"name"`
	Species []string `json:"species"`
	// Episodes are mature ones with advice on record. Elsewhere had a reading in
	// another setting, NotAssessed none.
	Episodes    int64       `json:"episodes"`
	Readings    int64       `json:"readings"`
	Elsewhere   []Elsewhere `json:"elsewhere"`
	NotAssessed []State     `json:"not_assessed"`
	// InForce are the thresholds of the rules that decide at the cut by
	// themselves; Rule is what they come to.
	InForce []InForce `json:"in_force"`
	Rule    string    `json:"rule"`
	Values  []Value   `json:"values"`
	// Naive and corrected area under the curve.
	NaiveArea     review.Figure `json:"naive_area"`
	CorrectedArea review.Figure `json:"corrected_area"`
	Candidates    []Candidate   `json:"candidates"`
	// Present is the threshold in force, judged like a choice.
	Present  *Trial    `json:"present,omitempty"`
	Choices  []Choice  `json:"choices"`
	ByState  []ByState `json:"by_state"`
	Strata   Strata    `json:"strata"`
	Warnings []string  `json:"warnings"`

	present, fit, judge *Side
}

// Elsewhere counts readings that were left out because of where they were made.
type Elsewhere struct {
	Setting  string `json:"setting"`
	Readings int64  `json:"readings"`
}

// State counts episodes in which the finding was not assessed.
type State struct {
	State      string `json:"state"`
	Needed     int64  `json:"needed"`
	NotNeeded  int64  `json:"not_needed"`
	Unverified int64  `json:"unverified"`
}

// InForce is one condition of the rules on the finding.
type InForce struct {
	Flag      string `json:"flag"`
	Condition string `json:"condition"`
	Demands   string `json:"demands"`
	// Decides is whether it sets the threshold at this cut; Why says why not.
	Decides bool   `json:"decides"`
	Why     string `json:"why,omitempty"`

	flag, condition int
	lower           bool
	species         []string
}

// Value counts the readings of one recorded value.
type Value struct {
	Value      float64 `json:"value"`
	Needed     int64   `json:"needed"`
	NotNeeded  int64   `json:"not_needed"`
	Unverified int64   `json:"unverified"`
}

// Rates are the two rates of a threshold.
type Rates struct {
	Sensitivity review.Figure `json:"sensitivity"`
	Specificity review.Figure `json:"specificity"`
}

// Candidate is one threshold with what it does to the readings of the whole period.
type Candidate struct {
	Rule string `json:"rule"`
	// Lower and Upper are the limits; a reading at a limit counts.
	Lower *float64 `json:"lower,omitempty"`
	Upper *float64 `json:"upper,omitempty"`
	// Naive are those of the verified, Corrected of all.
	Naive     Rates `json:"naive"`
	Corrected Rates `json:"corrected"`
	// Marked is the share of all readings that it marks, AtLimit of those that
	// lie exactly on it; both count episodes, verified or not.
	Marked  review.Figure `json:"marked"`
	AtLimit review.Figure `json:"at_limit"`
	// PerDay is how many readings a day it marks.
	PerDay review.Figure `json:"per_day"`
	// InForce marks the rule of the group.
	InForce bool `json:"in_force"`
}

// Trial is a threshold on the months it was chosen on and on later ones.
type Trial struct {
	Rule  string `json:"rule"`
	Fit   Rates  `json:"fit"`
	Judge Rates  `json:"judge"`
	Naive Rates  `json:"naive_judge"`
	// PerDay are the readings a day that it marks in the later months.
	PerDay review.Figure `json:"per_day"`
}

// Choice is what one criterion chooses.
type Choice struct {
	Criterion string `json:"criterion"`
	// Given is the criterion as --criterion writes it.
	Given string `json:"given"`
	// Trial is empty where nothing can be chosen.
	Trial *Trial `json:"trial,omitempty"`
	// Lower and Upper are the limits with the interval of the choice.
	Lower *review.Figure `json:"lower,omitempty"`
	Upper *review.Figure `json:"upper,omitempty"`
	// Plateau are thresholds as good within Within, in the unit of the score.
	Plateau []string      `json:"plateau"`
	Within  string        `json:"within"`
	AtLimit review.Figure `json:"at_limit"`
	// NaiveRule is what the criterion chooses among the verified alone, Optimism
	// by how much its figures there flatter.
	NaiveRule string    `json:"naive_rule,omitempty"`
	Optimism  *Optimism `json:"optimism,omitempty"`
	// Against says what it does beside the threshold in force.
	Against string `json:"against,omitempty"`
	// Holds says whether the later months bear out what was promised.
	Holds        string   `json:"holds,omitempty"`
	NotEstimable string   `json:"not_estimable,omitempty"`
	Warnings     []string `json:"warnings"`

	threshold threshold
}

// Optimism is by how much sensitivity and specificity flatter because the
// threshold was chosen on the same episodes, as differences of shares.
type Optimism struct {
	Sensitivity float64 `json:"sensitivity"`
	Specificity float64 `json:"specificity"`
}

// ByState is the threshold in force by what the animal did during the reading.
type ByState struct {
	State    string        `json:"state"`
	Readings int64         `json:"readings"`
	Area     review.Figure `json:"area"`
	Rates    *Rates        `json:"rates,omitempty"`
}

// Strata says within what verification was taken to be ignorable.
type Strata struct {
	Dimensions []string `json:"dimensions"`
	GivenUp    []string `json:"given_up"`
}
