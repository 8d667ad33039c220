package demo

import (
	"fmt"
	"strings"
)

// Proposal is a change of the line's rules that somebody might propose, as a
// whole rules file. What each would do is known, because the line is invented.
type Proposal struct {
	// Name of the file, below proposals/.
	Name string
	Text []byte
}

// edit replaces one text of rules.yaml by another; it must stand there once.
type edit struct{ from, to string }

// catBreathing mends the threshold that is known to be too lax.
var catBreathing = []edit{
	{"title: Cat breathes sixty times a minute or more at rest", "title: Cat breathes forty times a minute or more at rest"},
	{"{finding: breathing_rate, at_least: 60}", "{finding: breathing_rate, at_least: 40}"},
}

// sooner lets a flag about dogs and cats demand the same day.
func sooner(condition string) edit {
	const head, tail = "    demands: soon\n    when_unknown: leave\n    all:\n      - {finding: ", "}\n"
	return edit{head + condition + tail, strings.Replace(head, "demands: soon\n", "demands: same_day\n    species: [dog, cat]\n", 1) + condition + tail}
}

// proposals are made from rules.yaml, so that they differ from it in nothing else.
var proposals = []struct {
	name, ruleset, title, reason string
	edits                        []edit
}{
	{"cat_breathing.yaml", "demo_2026_2", "Cats breathing fast are seen earlier",
		"needed care is missed among cats that breathe forty to sixty times a minute", catBreathing},
	{"after_stress.yaml", "demo_2026_3", "Mouth breathing after stress is no emergency",
		"hardly any cat with this flag alone needed care at once, and few the same day", []edit{
			{"    why: taken over from the flag for cats at rest, to be on the safe side\n    demands: emergency", "    why: a cat that has just been chased or carried may pant for a while\n    demands: soon"},
		}},
	{"fewer_visits.yaml", "demo_2026_4", "Fewer visits", "practices ask for fewer visits; not a reason about animals", []edit{
		{"    why: airway, lung or chest trouble that tires the animal out\n    demands: emergency", "    why: airway, lung or chest trouble that tires the animal out\n    demands: soon"},
		{"    why: blockage, bleeding or infection inside\n    demands: same_day", "    why: blockage, bleeding or infection inside\n    demands: soon"},
		{"{finding: capillary_refill_s, at_least: 2}", "{finding: capillary_refill_s, at_least: 3.5}"},
	}},
	{"rabbits_wait.yaml", "demo_2026_5", "Dogs and cats sooner, rabbits later", "ill dogs and cats are missed; rabbits that do not eat take up many visits", append([]edit{
		sooner("responsiveness, is: [dull]"), sooner("stool, is: [bloody, black]"), sooner("urination, is: [frequent_small, blood]"),
		sooner("coat_wounds, is: [wound, deep_wound]"), sooner("hind_limbs, is: [weak]"),
		{"title: Rabbit has not eaten for twelve hours", "title: Rabbit has not eaten for two days"},
		{"{finding: hours_since_eating, at_least: 12}", "{finding: hours_since_eating, at_least: 48}"},
		{"title: Rabbit has passed no droppings for twelve hours", "title: Rabbit has passed no droppings for a day"},
		{"{finding: hours_since_droppings, at_least: 12}", "{finding: hours_since_droppings, at_least: 24}"},
	}, catBreathing...)},
}

// Proposals returns four changes of rules.yaml: one that mends the threshold
// known to be too lax (cat_breathing.yaml), one that relaxes the flag known to be
// too cautious (after_stress.yaml), one that does harm (fewer_visits.yaml), and
// one that is better on average and harms rabbits alone (rabbits_wait.yaml).
func Proposals() ([]Proposal, error) {
	rules, err := settings.ReadFile("rules.yaml")
	if err != nil {
		return nil, err
	}
	var out []Proposal
	for _, p := range proposals {
		text := string(rules)
		for _, e := range append([]edit{
			{"ruleset: demo_2026_1", "ruleset: " + p.ruleset},
			{"title: Telephone red flags of the demonstration line", "title: " + p.title},
			{"reason: first set, taken from common practice so that there is something to audit", "reason: " + p.reason},
			{"effective: 2024-01-01", "effective: 2027-01-01"},
			{"expires: 2027-12-31", "expires: 2028-12-31"},
		}, p.edits...) {
			if n := strings.Count(text, e.from); n != 1 {
				return nil, fmt.Errorf("proposal %s: rules.yaml holds %q %d times, expected once", p.name, e.from, n)
			}
			text = strings.Replace(text, e.from, e.to, 1)
		}
		out = append(out, Proposal{p.name, []byte(text)})
	}
	return out, nil
}
