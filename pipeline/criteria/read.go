package criteria

import (
	_ "embed"
	"fmt"
	"regexp"
	"slices"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/strict"
)

// Schema and AppointmentsSchema are the JSON Schemas of the two files, for
// editors that check while typing. The readers check more.
var (
	//go:embed criteria.schema.json
	Schema []byte
	//go:embed appointments.schema.json
	AppointmentsSchema []byte
)

// mostReviewed bounds the list of reviewed cases.
const mostReviewed = 10_000

// Load reads a criteria file. The error is strict.Problems with every mistake.
func Load(path string) (*Criteria, error) {
	data, err := strict.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return Parse(path, data)
}

// Parse reads the text of a criteria file; file is its name in messages. Whether
// the reviewed episodes exist is decided by the replay, which knows them.
func Parse(file string, data []byte) (*Criteria, error) {
	doc, top := strict.Parse(file, data)
	m := top.Map("criteria", "title", "owner", "reason", "fixed_on", "proposal", "judged", "confidence",
		"evidence", "accuracy", "subgroups", "workload", "reviewed")
	c := &Criteria{
		File: file, ID: m.Need("criteria").ID(), Title: m.Need("title").Text(), Owner: m.Need("owner").Text(),
		Reason: m.Need("reason").Text(), FixedOn: m.Need("fixed_on").Date(),
		Judged: m.Need("judged").Choice(RulesFollowed, RaisesKept), Confidence: 0.95, Accuracy: map[codes.Level]Accuracy{},
	}
	if n := m.Get("confidence"); n.Exists() {
		c.Confidence = *share(n, 0.5, 1)
	}
	c.readProposal(m.Get("proposal"))
	c.readEvidence(m.Get("evidence"))
	eachCut(m.Get("accuracy"), func(level codes.Level, n strict.Node) { c.Accuracy[level] = readAccuracy(n) })
	c.readSubgroups(m.Get("subgroups"))
	c.readWorkload(m.Get("workload"))
	if !m.Has("accuracy") && !m.Has("subgroups") && !m.Has("workload") {
		m.At().Fail("accuracy, subgroups or workload", "none", "say what a proposal must show")
	}
	if n := m.Get("reviewed"); n.Exists() {
		c.readReviewed(n)
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return c, nil
}

// share reads a number between low and high, both excluded; never nil.
func share(n strict.Node, low, high float64) *float64 {
	v, text := n.Number()
	if text != "" && (v <= low || v >= high) {
		n.Fail(fmt.Sprintf("a number between %v and %v", low, high), text, "write a share, such as 0.02 for 2 %")
	}
	return &v
}

// optional reads a share that may be left out.
func optional(m strict.Map, key string) *float64 {
	if !m.Has(key) {
		return nil
	}
	return share(m.Get(key), 0, 1)
}

// eachCut reads a group with the keys emergency and same_day.
func eachCut(n strict.Node, read func(codes.Level, strict.Node)) {
	if !n.Exists() {
		return
	}
	m := n.Map("emergency", "same_day")
	for _, level := range []codes.Level{codes.Emergency, codes.SameDay} {
		if m.Has(level.String()) {
			read(level, m.Get(level.String()))
		}
	}
	if len(m.Keys()) == 0 {
		n.Fail("emergency, same_day or both", "neither", "add one, or delete the key")
	}
}

var hash = regexp.MustCompile(`^[0-9a-f]{64}$`)

func (c *Criteria) readProposal(n strict.Node) {
	if !n.Exists() {
		return
	}
	m := n.Map("ruleset", "sha256")
	c.Ruleset = m.Need("ruleset").ID()
	if h := m.Get("sha256"); h.Exists() {
		if c.RulesHash = h.Text(); c.RulesHash != "" && !hash.MatchString(c.RulesHash) {
			h.Fail("64 digits 0-9 and a-f", "another text", "copy the hash that report replay prints")
		}
	}
}

func (c *Criteria) readEvidence(n strict.Node) {
	c.Evidence.InNeed, c.Evidence.Changed = map[codes.Level]int{}, map[codes.Level]int{}
	if !n.Exists() {
		return
	}
	m := n.Map("months", "calls", "in_need", "changed")
	if x := m.Get("months"); x.Exists() {
		c.Evidence.Months = x.Int(1, 120)
	}
	if x := m.Get("calls"); x.Exists() {
		c.Evidence.Calls = x.Int(1, 1_000_000_000)
	}
	eachCut(m.Get("in_need"), func(level codes.Level, x strict.Node) { c.Evidence.InNeed[level] = x.Int(1, 1_000_000) })
	eachCut(m.Get("changed"), func(level codes.Level, x strict.Node) { c.Evidence.Changed[level] = x.Int(1, 1_000_000) })
}

func readAccuracy(n strict.Node) Accuracy {
	m := n.Map("sensitivity_floor", "sensitivity_loss", "specificity_loss")
	a := Accuracy{SensitivityFloor: optional(m, "sensitivity_floor"), SensitivityLoss: optional(m, "sensitivity_loss"),
		SpecificityLoss: optional(m, "specificity_loss")}
	if len(m.Keys()) == 0 {
		n.Fail("sensitivity_floor, sensitivity_loss or specificity_loss", "none", "add one, or delete the cut")
	}
	return a
}

func (c *Criteria) readSubgroups(n strict.Node) {
	if !n.Exists() {
		return
	}
	m := n.Map("properties", "sensitivity_loss", "least_in_need")
	c.Subgroups.Properties = m.Need("properties").Each(func(x strict.Node) string { return x.Choice(Properties...) })
	if x := m.Need("sensitivity_loss"); x.Exists() {
		c.Subgroups.SensitivityLoss = *share(x, 0, 1)
	}
	if x := m.Get("least_in_need"); x.Exists() {
		c.Subgroups.LeastInNeed = x.Int(1, 100_000)
	}
}

func (c *Criteria) readWorkload(n strict.Node) {
	c.Workload.Cut = codes.SameDay
	if !n.Exists() {
		return
	}
	m := n.Map("cut", "extra_referrals_a_day", "extra_for_each_caught")
	if x := m.Get("cut"); x.Exists() && x.Choice("emergency", "same_day") == "emergency" {
		c.Workload.Cut = codes.Emergency
	}
	c.Workload.ExtraPerDay, c.Workload.ExtraPerCaught = atLeastZero(m, "extra_referrals_a_day"), atLeastZero(m, "extra_for_each_caught")
	if c.Workload.ExtraPerDay == nil && c.Workload.ExtraPerCaught == nil {
		n.Fail("extra_referrals_a_day or extra_for_each_caught", "neither", "add one, or delete workload")
	}
}

// atLeastZero reads a number that may be left out.
func atLeastZero(m strict.Map, key string) *float64 {
	n := m.Get(key)
	if !n.Exists() {
		return nil
	}
	v, text := n.Number()
	if text != "" && v < 0 {
		n.Fail("a number of 0 or more", text, "correct the number")
	}
	return &v
}

// pseudonym is a UUID as the replay prints it.
var pseudonym = regexp.MustCompile(`^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$`)

func (c *Criteria) readReviewed(n strict.Node) {
	for i, x := range n.List() {
		if i == mostReviewed {
			x.Fail(fmt.Sprintf("at most %d cases", mostReviewed), "one more", "a change that misses so many is not reviewed case by case")
			return
		}
		m := x.Map("episode", "reviewer", "registration", "date", "reason")
		r := Reviewed{Line: x.Line(), Episode: m.Need("episode").Text(), Reviewer: m.Need("reviewer").Text(),
			Registration: m.Need("registration").Text(), Date: m.Need("date").Date(), Reason: m.Need("reason").Text()}
		switch {
		case r.Episode != "" && !pseudonym.MatchString(r.Episode):
			m.Get("episode").Fail("the pseudonym of an episode", "another text", "copy it from the list of newly missed cases")
		case slices.ContainsFunc(c.Reviewed, func(o Reviewed) bool { return o.Episode == r.Episode }):
			m.Get("episode").Fail("each episode once", "one again", "delete one of them")
		}
		c.Reviewed = append(c.Reviewed, r)
	}
}
