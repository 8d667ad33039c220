package demo

// Finding is one home check of the demonstration line. Its String is the
// identifier that records use; the exports use the call system's own word.
type Finding uint8

// The checks of the line, in the order of the records' dictionary.
const (
	GumColour Finding = iota
	TongueColour
	LowerEyelid
	Pupils
	EyeDischarge
	ChestMovement
	BellyBreathing
	MouthBreathing
	BreathingEffort
	BellyFeel
	UnderTail
	Stool
	AnalGlands
	BlinkReflex
	ToePinch
	ClawScuffing
	Lump
	CoatWounds
	Responsiveness
	Retching
	Urination
	Bleeding
	Fits
	Collapse
	SuspectedPoison
	RoadAccident
	HeatExposure
	HindLimbs
	CapillaryRefill
	BreathingRate
	HeartRate
	Temperature
	OnsetHours
	HoursSinceEating
	HoursSinceDroppings

	// NumFindings is the number of checks.
	NumFindings = int(iota)
)

// findingInfo names a check: its identifier, the call system's item word, and
// for coded checks the codes with the answer words of the call system. Position
// 0 of both lists is the normal answer unless the check says otherwise.
type findingInfo struct {
	id    string
	item  string
	codes []string
	words []string
	scale int // numbers: stored in units of 1/scale
}

var findingTable = [NumFindings]findingInfo{
	GumColour: {"gum_colour", "GUM",
		[]string{"pink", "pale_pink", "white", "grey", "blue", "brick_red", "yellow", "brown", "pigmented_unreadable"},
		[]string{"pink", "pale", "white", "grey", "bluish", "dark red", "yellow", "brown", "black gums"}, 0},
	TongueColour: {"tongue_colour", "TONGUE",
		[]string{"pink", "pale_pink", "white", "grey", "blue", "brick_red", "yellow", "brown", "pigmented_unreadable"},
		[]string{"pink", "pale", "white", "grey", "bluish", "dark red", "yellow", "brown", "dark by nature"}, 0},
	LowerEyelid: {"lower_eyelid", "LID",
		[]string{"pink", "pale", "white", "red", "yellow", "unreadable"},
		[]string{"pink", "pale", "white", "red", "yellow", "cannot see"}, 0},
	Pupils: {"pupils", "PUPILS",
		[]string{"equal", "unequal", "both_wide", "both_pinpoint", "cannot_tell"},
		[]string{"same size", "different", "both large", "both tiny", "cannot tell"}, 0},
	EyeDischarge: {"eye_discharge", "EYE",
		[]string{"none", "watery", "mucoid", "pus", "blood"},
		[]string{"dry", "watery", "slimy", "pus", "bloody"}, 0},
	ChestMovement: {"chest_movement", "CHEST",
		[]string{"even", "one_sided", "paradoxical"},
		[]string{"both sides", "one side", "sinks in"}, 0},
	BellyBreathing: {"belly_breathing", "BELLY BREATH", []string{"no", "yes"}, []string{"no", "yes"}, 0},
	MouthBreathing: {"mouth_breathing", "MOUTH",
		[]string{"none", "after_stress", "at_rest"},
		[]string{"closed", "open after stress", "open at rest"}, 0},
	BreathingEffort: {"breathing_effort", "EFFORT",
		[]string{"normal", "mild", "marked", "gasping"},
		[]string{"easy", "a little", "hard work", "gasps"}, 0},
	BellyFeel: {"belly_feel", "BELLY",
		[]string{"soft", "hard", "fluid", "painful", "drum_like"},
		[]string{"soft", "hard", "sloshing", "sore", "like a drum"}, 0},
	UnderTail: {"under_tail", "REAR",
		[]string{"normal", "soiled", "swollen", "bleeding", "worms", "discharge", "maggots", "prolapse"},
		[]string{"clean", "soiled", "swollen", "bleeds", "worms", "discharge", "maggots", "tissue out"}, 0},
	Stool: {"stool", "STOOL",
		[]string{"normal", "soft", "watery", "bloody", "black", "none"},
		[]string{"formed", "soft", "watery", "with blood", "black", "none passed"}, 0},
	AnalGlands: {"anal_glands", "GLANDS", []string{"normal", "full", "painful"}, []string{"fine", "full", "sore"}, 0},
	BlinkReflex: {"blink_reflex", "BLINK",
		[]string{"present", "absent", "one_side"}, []string{"blinks", "no blink", "one eye only"}, 0},
	ToePinch: {"toe_pinch", "TOE",
		[]string{"pulls_and_turns", "pulls_only", "none"},
		[]string{"pulls and looks", "pulls", "nothing"}, 0},
	ClawScuffing: {"claw_scuffing", "CLAWS",
		[]string{"normal", "scuffs", "knuckles", "drags"}, []string{"even", "worn", "knuckles over", "drags"}, 0},
	Lump: {"lump", "LUMP",
		[]string{"none", "soft", "hard", "warm", "discharging"}, []string{"no lump", "soft", "hard", "warm", "runs"}, 0},
	CoatWounds: {"coat_wounds", "COAT",
		[]string{"none", "scabs", "wound", "deep_wound"}, []string{"nothing", "scabs", "wound", "deep wound"}, 0},
	Responsiveness: {"responsiveness", "AWAKE",
		[]string{"alert", "quiet", "dull", "stuporous", "comatose"},
		[]string{"bright", "quiet", "dull", "hard to wake", "cannot be woken"}, 0},
	Retching: {"retching", "RETCH",
		[]string{"none", "productive", "unproductive"}, []string{"no", "brings up", "nothing comes"}, 0},
	Urination: {"urination", "URINE",
		[]string{"normal", "frequent_small", "straining_little", "none", "blood"},
		[]string{"as usual", "often, little", "strains, drops", "none", "bloody"}, 0},
	Bleeding: {"bleeding", "BLEED",
		[]string{"none", "ooze", "steady", "spurting", "stopped"}, []string{"none", "oozes", "runs", "spurts", "has stopped"}, 0},
	Fits: {"fits", "FIT",
		[]string{"none", "single", "cluster", "ongoing"}, []string{"none", "one", "several", "still fitting"}, 0},
	Collapse:        {"collapse", "DOWN", []string{"no", "yes"}, []string{"no", "yes"}, 0},
	SuspectedPoison: {"suspected_poison", "POISON", []string{"no", "yes"}, []string{"no", "yes"}, 0},
	RoadAccident:    {"road_accident", "VEHICLE", []string{"no", "yes"}, []string{"no", "yes"}, 0},
	HeatExposure:    {"heat_exposure", "HEAT", []string{"no", "yes"}, []string{"no", "yes"}, 0},
	HindLimbs: {"hind_limbs", "HIND",
		[]string{"normal", "weak", "lost_use", "cold_painful"},
		[]string{"walks", "weak", "drags both", "cold and sore"}, 0},
	CapillaryRefill:     {"capillary_refill_s", "CRT", nil, nil, 10},
	BreathingRate:       {"breathing_rate", "BREATHS", nil, nil, 1},
	HeartRate:           {"heart_rate", "HEART", nil, nil, 1},
	Temperature:         {"temperature_c", "TEMP", nil, nil, 10},
	OnsetHours:          {"onset_h", "SINCE", nil, nil, 10},
	HoursSinceEating:    {"hours_since_eating", "ATE", nil, nil, 1},
	HoursSinceDroppings: {"hours_since_droppings", "DROPPED", nil, nil, 1},
}

// String returns the identifier of the check, e.g. gum_colour.
func (f Finding) String() string { return findingTable[f].id }

// Codes returns the codes of a coded check, the normal one first; nil for a
// number. The caller must not change it.
func (f Finding) Codes() []string { return findingTable[f].codes }

// Scale returns how many stored steps make one unit of a number check (10 for
// tenths), 0 for a coded check.
func (f Finding) Scale() int { return findingTable[f].scale }

// Codes by position, named where the model or the rules speak of them.
const (
	gumPink, gumPale, gumWhite, gumGrey, gumBlue, gumRed, gumYellow, gumBrown, gumDark = 0, 1, 2, 3, 4, 5, 6, 7, 8

	mouthStress, mouthRest               = 1, 2
	effortMild, effortMarked, effortGasp = 1, 2, 3
	bellyHard, bellyDrum                 = 1, 4
	retchUnproductive                    = 2
	urineDrops, urineNone                = 2, 3
)
