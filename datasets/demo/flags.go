package demo

// redFlag is one rule of the line as its call system applies it on the day.
// It repeats rules.yaml by hand: the exports say what the system said, and a
// test holds the two to one answer.
type redFlag struct {
	id       string
	level    Level
	raise    bool // an unknown answer counts as the level
	species  uint8
	breeds   uint8 // bits of breed groups of that species; 0 any
	male     bool
	underAge int // months; 0 any age
	conds    [2]flagCond
	n        int
}

// flagCond is one line of a flag: a set of codes, or a range of a number.
type flagCond struct {
	f         Finding
	codes     uint16  // bit of each code position that fires
	low, high float64 // fires in [low, high] for numbers
}

const (
	anySpecies = 1<<dog | 1<<cat | 1<<rabbit
	onlyDog    = 1 << dog
	onlyCat    = 1 << cat
	onlyRabbit = 1 << rabbit
)

func is(f Finding, codes ...int) flagCond {
	c := flagCond{f: f}
	for _, k := range codes {
		c.codes |= 1 << k
	}
	return c
}

func within(f Finding, low, high float64) flagCond { return flagCond{f: f, low: low, high: high} }

// open moves a limit just off an end that does not count: answers come in
// tenths at the finest.
const (
	open  = 0.0001
	large = 1e9
)

func flag(id string, l Level, raise bool, species uint8, conds ...flagCond) redFlag {
	r := redFlag{id: id, level: l, raise: raise, species: species, n: len(conds)}
	copy(r.conds[:], conds)
	return r
}

var redFlags = buildFlags()

func buildFlags() []redFlag {
	flags := []redFlag{
		flag("collapse", Emergency, true, anySpecies, is(Collapse, 1)),
		flag("hard_to_rouse", Emergency, false, anySpecies, is(Responsiveness, 3, 4)),
		flag("hard_breathing", Emergency, true, anySpecies, is(BreathingEffort, 2, 3)),
		flag("mouth_breathing_at_rest", Emergency, true, onlyCat, is(MouthBreathing, 2)),
		flag("mouth_breathing_after_stress", Emergency, false, onlyCat, is(MouthBreathing, 1)),
		flag("mouth_breathing_rabbit", Emergency, false, onlyRabbit, is(MouthBreathing, 1, 2)),
		flag("chest_moves_wrong", Emergency, false, anySpecies, is(ChestMovement, 1, 2)),
		flag("gums_white_grey_blue", Emergency, false, anySpecies, is(GumColour, 2, 3, 4)),
		flag("tongue_white_grey_blue", Emergency, false, anySpecies, is(TongueColour, 2, 3, 4)),
		flag("eyelid_white", Emergency, false, anySpecies, is(LowerEyelid, 2)),
		flag("very_slow_refill", Emergency, false, anySpecies, within(CapillaryRefill, 4, large)),
		flag("bleeding_spurting", Emergency, false, anySpecies, is(Bleeding, 2, 3)),
		flag("fits_ongoing_or_cluster", Emergency, false, anySpecies, is(Fits, 2, 3)),
		flag("swollen_belly_with_retching", Emergency, true, onlyDog, is(BellyFeel, 1, 4), is(Retching, 2)),
		flag("blocked_male_cat", Emergency, true, onlyCat, is(Urination, 2, 3)),
		flag("suspected_poison", Emergency, false, anySpecies, is(SuspectedPoison, 1)),
		flag("road_accident", Emergency, false, anySpecies, is(RoadAccident, 1)),
		flag("heat_with_breathing_effort", Emergency, false, anySpecies, is(HeatExposure, 1), is(BreathingEffort, 1, 2, 3)),
		flag("unequal_pupils", Emergency, false, anySpecies, is(Pupils, 1)),
		flag("hind_limbs_lost_cat", Emergency, false, onlyCat, is(HindLimbs, 2, 3)),
		flag("prolapse", Emergency, false, anySpecies, is(UnderTail, 7)),
		flag("temperature_high_dog", Emergency, false, onlyDog, within(Temperature, 40.5+open, large)),
		flag("temperature_low_dog", Emergency, false, onlyDog, within(Temperature, 0, 37.0-open)),
		flag("temperature_high_cat", Emergency, false, onlyCat, within(Temperature, 40.5+open, large)),
		flag("temperature_low_cat", Emergency, false, onlyCat, within(Temperature, 0, 36.0-open)),
		flag("temperature_low_rabbit", Emergency, false, onlyRabbit, within(Temperature, 0, 37.5-open)),
		flag("slow_refill", SameDay, false, anySpecies, within(CapillaryRefill, 2, large)),
		flag("fast_breathing_dog", SameDay, false, onlyDog, within(BreathingRate, 40, large)),
		flag("fast_breathing_cat", SameDay, false, onlyCat, within(BreathingRate, 60, large)),
		flag("gums_pale_or_yellow", SameDay, false, anySpecies, is(GumColour, 1, 6, 7)),
		flag("belly_painful_or_swollen", SameDay, false, anySpecies, is(BellyFeel, 1, 2, 3, 4)),
		flag("cannot_pass_urine", SameDay, false, anySpecies, is(Urination, 2, 3)),
		flag("rabbit_not_eating", SameDay, false, onlyRabbit, within(HoursSinceEating, 12, large)),
		flag("rabbit_no_droppings", SameDay, false, onlyRabbit, within(HoursSinceDroppings, 12, large)),
		flag("young_not_eating", SameDay, false, onlyDog|onlyCat, within(HoursSinceEating, 8, large)),
		flag("sore_eye", SameDay, false, anySpecies, is(EyeDischarge, 3, 4)),
		flag("warm_or_discharging_lump", Soon, false, anySpecies, is(Lump, 3, 4)),
		flag("claws_scuffed", Soon, false, anySpecies, is(ClawScuffing, 1, 2, 3)),
		flag("single_fit", Soon, false, anySpecies, is(Fits, 1)),
		flag("dull", Soon, false, anySpecies, is(Responsiveness, 2)),
		flag("blood_in_stool", Soon, false, anySpecies, is(Stool, 3, 4)),
		flag("bleeding_or_swollen_rear", Soon, false, anySpecies, is(UnderTail, 2, 3, 5, 6)),
		flag("sore_anal_glands", Soon, false, anySpecies, is(AnalGlands, 2)),
		flag("wound", Soon, false, anySpecies, is(CoatWounds, 2, 3)),
		flag("weak_hind_limbs", Soon, false, anySpecies, is(HindLimbs, 1)),
		flag("small_or_bloody_urine", Soon, false, anySpecies, is(Urination, 1, 4)),
		flag("slimy_eye", Soon, false, anySpecies, is(EyeDischarge, 2)),
		flag("hard_lump", Soon, false, anySpecies, is(Lump, 2)),
	}
	for i := range flags {
		switch flags[i].id {
		case "swollen_belly_with_retching":
			flags[i].breeds = 1<<2 | 1<<3
		case "blocked_male_cat":
			flags[i].male = true
		case "young_not_eating":
			flags[i].underAge = 3
		}
	}
	return flags
}

// FlagIDs lists the red flags in the order of the bits of Episode.Fired.
func FlagIDs() []string {
	ids := make([]string, len(redFlags))
	for i := range redFlags {
		ids[i] = redFlags[i].id
	}
	return ids
}

// Truth values of a condition or a flag.
const (
	no int8 = iota
	unknown
	yes
)

// holds judges one line of a flag on the answers of a contact.
func (c *flagCond) holds(answers *[NumFindings]*check) int8 {
	k := answers[c.f]
	if k == nil || k.state != done {
		return unknown
	}
	if findingTable[c.f].codes == nil {
		v := float64(k.scaled()) / float64(findingTable[c.f].scale)
		if v >= c.low && v <= c.high {
			return yes
		}
		return no
	}
	if unreadable(c.f, k.code) {
		return unknown
	}
	if c.codes>>uint(k.code)&1 == 1 {
		return yes
	}
	return no
}

func unreadable(f Finding, code int8) bool {
	switch f {
	case GumColour, TongueColour:
		return code == gumDark
	case LowerEyelid:
		return code == 5
	case Pupils:
		return code == 4
	}
	return false
}

// judge returns whether a flag fires; the animal's own limits come first.
func (r *redFlag) judge(pet animal, ageMonths int, answers *[NumFindings]*check) int8 {
	if r.species>>uint(pet.species)&1 == 0 || r.breeds != 0 && r.breeds>>uint(pet.breed)&1 == 0 {
		return no
	}
	if r.underAge != 0 && ageMonths >= r.underAge {
		return no
	}
	result := yes
	if r.male {
		switch {
		case !pet.sexKnown:
			result = unknown
		case !pet.male:
			return no
		}
	}
	for i := range r.conds[:r.n] {
		switch r.conds[i].holds(answers) {
		case no:
			return no
		case unknown:
			result = unknown
		}
	}
	return result
}

// applyRules fills in which flags fired or stayed unknown and the level that
// the call system showed. With nothing assessed there is no level.
func applyRules(e *episode, c *contact) {
	var answers [NumFindings]*check
	assessed := false
	for i := range c.checks[:c.n] {
		answers[c.checks[i].f] = &c.checks[i]
		assessed = assessed || c.checks[i].state == done
	}
	c.fired, c.unknown, c.ruleLevel = 0, 0, LevelNone
	age := e.pet.ageMonths(c.start)
	level := HomeCare
	for i := range redFlags {
		r := &redFlags[i]
		switch r.judge(e.pet, age, &answers) {
		case yes:
			c.fired |= 1 << uint(i)
			level = max(level, r.level)
		case unknown:
			c.unknown |= 1 << uint(i)
			if r.raise {
				level = max(level, r.level)
			}
		}
	}
	if assessed {
		c.ruleLevel = level
	}
}

// emergencyAlone lists, by finding, the emergency flags that one answer decides.
var emergencyAlone = listEmergencyAlone()

func listEmergencyAlone() (out [NumFindings][]*redFlag) {
	for i := range redFlags {
		if r := &redFlags[i]; r.level == Emergency && r.n == 1 {
			out[r.conds[0].f] = append(out[r.conds[0].f], r)
		}
	}
	return out
}

// emergencySign reports whether this one answer by itself is an emergency.
func emergencySign(pet animal, k *check) bool {
	flags := emergencyAlone[k.f]
	if len(flags) == 0 {
		return false
	}
	var answers [NumFindings]*check
	answers[k.f] = k
	for _, r := range flags {
		if r.judge(pet, grown, &answers) == yes {
			return true
		}
	}
	return false
}

// grown is an age in months past every age limit of the flags.
const grown = 24

var afterStressBit = flagBit("mouth_breathing_after_stress")

func flagBit(id string) uint64 {
	for i := range redFlags {
		if redFlags[i].id == id {
			return 1 << uint(i)
		}
	}
	return 0
}
