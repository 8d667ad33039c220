package demo

// need is how soon an animal truly must be seen, on the scale of the levels.
// It is drawn first; the signs, the advice and the course follow from it.

// condition is one reason to ring: how often by species, how soon it must be
// seen, what the form asks and what a careful observer would find.
type condition struct {
	complaint string // the call system's word
	weight    [numSpecies]float64
	need      [4]float64 // home_care, soon, same_day, emergency
	form      []Finding
	signs     []sign
	measures  []measure
}

// sign gives the chance of an abnormal code by need; mild codes and severe
// codes are drawn alike within their list. The rest is normal.
type sign struct {
	f            Finding
	mild, severe []int8
	pMild, pSev  [4]float64
}

// measure gives the mean of a number by need, before species adjustment.
type measure struct {
	f    Finding
	mean [4]float64
	sd   float64
}

func p4(home, soon, sameDay, emergency float64) [4]float64 {
	return [4]float64{home, soon, sameDay, emergency}
}

// commonSigns hold in every condition that says nothing else.
var commonSigns = []sign{
	{Collapse, nil, []int8{1}, p4(0, 0, 0, 0), p4(0.0004, 0.001, 0.012, 0.20)},
	{BreathingEffort, []int8{effortMild}, []int8{effortMarked}, p4(0.02, 0.03, 0.12, 0.25), p4(0.0006, 0.0015, 0.02, 0.20)},
	{Responsiveness, []int8{1, 1, 2}, []int8{3, 3, 4}, p4(0.12, 0.25, 0.65, 0.55), p4(0, 0.0005, 0.006, 0.30)},
	{GumColour, []int8{gumPale}, []int8{gumWhite, gumGrey, gumBlue}, p4(0.01, 0.02, 0.26, 0.24), p4(0.0004, 0.001, 0.025, 0.52)},
	{TongueColour, []int8{gumPale}, []int8{gumWhite, gumGrey, gumBlue}, p4(0.01, 0.02, 0.20, 0.2), p4(0.0004, 0.001, 0.02, 0.48)},
	{LowerEyelid, []int8{1, 3}, []int8{2}, p4(0.02, 0.04, 0.25, 0.3), p4(0, 0.0005, 0.02, 0.4)},
	{Urination, []int8{1, 4}, []int8{urineDrops, urineNone}, p4(0.01, 0.02, 0.03, 0.03), p4(0.001, 0.003, 0.02, 0.04)},
	{BellyFeel, []int8{3}, []int8{bellyHard, bellyDrum}, p4(0.012, 0.02, 0.22, 0.22), p4(0.001, 0.002, 0.06, 0.20)},
	{Retching, []int8{1}, []int8{retchUnproductive}, p4(0.02, 0.04, 0.08, 0.05), p4(0.004, 0.008, 0.03, 0.10)},
	{MouthBreathing, []int8{mouthStress}, []int8{mouthRest}, p4(0.006, 0.006, 0.015, 0.02), p4(0.0004, 0.001, 0.008, 0.09)},
	{Pupils, []int8{2, 3}, []int8{1}, p4(0.01, 0.02, 0.06, 0.15), p4(0.001, 0.002, 0.05, 0.25)},
	{BlinkReflex, nil, []int8{1, 2}, p4(0, 0, 0, 0), p4(0.005, 0.02, 0.1, 0.35)},
	{ChestMovement, nil, []int8{1, 2}, p4(0, 0, 0, 0), p4(0.0008, 0.002, 0.03, 0.22)},
	{HindLimbs, []int8{1}, []int8{2, 3}, p4(0.02, 0.10, 0.2, 0.2), p4(0.001, 0.004, 0.08, 0.2)},
	{ToePinch, []int8{1}, []int8{2}, p4(0.10, 0.15, 0.25, 0.3), p4(0.004, 0.01, 0.06, 0.15)},
	{Stool, []int8{1, 2}, []int8{3, 4, 5}, p4(0.1, 0.15, 0.2, 0.15), p4(0.02, 0.05, 0.2, 0.3)},
	{Bleeding, []int8{1, 4}, []int8{2, 3}, p4(0.1, 0.15, 0.3, 0.2), p4(0.001, 0.004, 0.1, 0.45)},
	{BellyBreathing, nil, []int8{1}, p4(0, 0, 0, 0), p4(0.03, 0.06, 0.4, 0.7)},
}

// commonMeasures are means for dogs; species shifts are in speciesMean.
var commonMeasures = []measure{
	{CapillaryRefill, p4(1.05, 1.15, 1.85, 2.9), 0.28},
	{BreathingRate, p4(22, 25, 38, 52), 6},
	{HeartRate, p4(95, 105, 130, 165), 16},
	{Temperature, p4(38.5, 38.8, 39.5, 39.4), 0.45},
	{OnsetHours, p4(40, 45, 14, 5), 8},
	{HoursSinceEating, p4(9, 14, 22, 24), 5},
	{HoursSinceDroppings, p4(6, 9, 15, 18), 4},
}

// The reasons to ring. Weights are per thousand calls of the species.
var conditions = []condition{
	{complaint: "vomiting", weight: [numSpecies]float64{110, 90, 0}, need: p4(0.62, 0.26, 0.10, 0.02),
		form: []Finding{Responsiveness, GumColour, Retching, BellyFeel, CapillaryRefill},
		signs: []sign{
			{Retching, []int8{1}, []int8{retchUnproductive}, p4(0.8, 0.8, 0.6, 0.3), p4(0.03, 0.05, 0.25, 0.65)},
			{BellyFeel, []int8{3}, []int8{bellyHard, bellyDrum}, p4(0.03, 0.05, 0.5, 0.25), p4(0.003, 0.006, 0.18, 0.65)},
		}},
	{complaint: "diarrhoea", weight: [numSpecies]float64{100, 55, 45}, need: p4(0.67, 0.25, 0.07, 0.01),
		form: []Finding{Stool, Responsiveness, GumColour, CapillaryRefill},
		signs: []sign{
			{Stool, []int8{1, 2}, []int8{3, 4}, p4(0.93, 0.8, 0.3, 0.2), p4(0.05, 0.18, 0.69, 0.8)},
			{GumColour, []int8{gumPale}, []int8{gumWhite, gumGrey}, p4(0.01, 0.02, 0.5, 0.3), p4(0.0004, 0.001, 0.05, 0.6)},
		}},
	{complaint: "off food", weight: [numSpecies]float64{50, 100, 0}, need: p4(0.56, 0.34, 0.085, 0.015),
		form: []Finding{HoursSinceEating, Responsiveness, GumColour, Temperature},
		signs: []sign{
			{GumColour, []int8{gumPale, gumYellow}, []int8{gumWhite}, p4(0.01, 0.025, 0.55, 0.35), p4(0.0004, 0.001, 0.03, 0.5)},
			{BellyFeel, []int8{3, 2}, []int8{bellyHard}, p4(0.012, 0.03, 0.3, 0.3), p4(0.001, 0.002, 0.1, 0.2)},
		}},
	{complaint: "quiet gut", weight: [numSpecies]float64{0, 0, 330}, need: p4(0.40, 0.34, 0.20, 0.06),
		form: []Finding{HoursSinceEating, HoursSinceDroppings, BellyFeel, Temperature},
		signs: []sign{
			{BellyFeel, []int8{3}, []int8{bellyHard, bellyDrum}, p4(0.02, 0.05, 0.35, 0.3), p4(0.004, 0.01, 0.2, 0.6)},
		},
		measures: []measure{
			{HoursSinceEating, p4(5, 8, 17, 22), 3},
			{HoursSinceDroppings, p4(5, 8, 16, 20), 3.5},
			{Temperature, p4(38.5, 38.5, 38.1, 36.6), 0.4},
		}},
	{complaint: "skin", weight: [numSpecies]float64{130, 90, 90}, need: p4(0.80, 0.19, 0.01, 0),
		form:  []Finding{CoatWounds},
		signs: []sign{{CoatWounds, []int8{1}, []int8{2, 3}, p4(0.4, 0.5, 0.3, 0.3), p4(0.02, 0.1, 0.5, 0.6)}}},
	{complaint: "wound", weight: [numSpecies]float64{80, 90, 70}, need: p4(0.54, 0.33, 0.105, 0.025),
		form: []Finding{Bleeding, CoatWounds, GumColour, Responsiveness},
		signs: []sign{
			{CoatWounds, []int8{1}, []int8{2, 3}, p4(0.35, 0.1, 0.02, 0.02), p4(0.4, 0.8, 0.95, 0.95)},
			{Bleeding, []int8{1, 4}, []int8{2, 3}, p4(0.35, 0.5, 0.35, 0.1), p4(0.004, 0.015, 0.52, 0.88)},
		}},
	{complaint: "lame", weight: [numSpecies]float64{100, 60, 40}, need: p4(0.56, 0.38, 0.05, 0.01),
		form: []Finding{HindLimbs, ToePinch, ClawScuffing},
		signs: []sign{
			{HindLimbs, []int8{1}, []int8{2, 3}, p4(0.1, 0.3, 0.3, 0.1), p4(0.001, 0.004, 0.5, 0.88)},
			{ClawScuffing, []int8{1}, []int8{2, 3}, p4(0.06, 0.3, 0.3, 0.2), p4(0.01, 0.06, 0.5, 0.7)},
		}},
	{complaint: "eye", weight: [numSpecies]float64{50, 50, 60}, need: p4(0.48, 0.37, 0.145, 0.005),
		form: []Finding{EyeDischarge, Pupils, BlinkReflex},
		signs: []sign{
			{EyeDischarge, []int8{1, 2}, []int8{3, 4}, p4(0.7, 0.65, 0.15, 0.1), p4(0.02, 0.06, 0.82, 0.85)},
			{Pupils, []int8{2}, []int8{1}, p4(0.01, 0.02, 0.05, 0.1), p4(0.004, 0.01, 0.15, 0.7)},
		}},
	{complaint: "lump", weight: [numSpecies]float64{50, 35, 40}, need: p4(0.60, 0.385, 0.015, 0),
		form:  []Finding{Lump, OnsetHours},
		signs: []sign{{Lump, []int8{1, 2}, []int8{3, 4}, p4(0.9, 0.6, 0.2, 0.2), p4(0.06, 0.38, 0.8, 0.8)}}},
	{complaint: "breathing", weight: [numSpecies]float64{30, 55, 35}, need: p4(0.36, 0.28, 0.25, 0.11),
		form: []Finding{BreathingRate, MouthBreathing, GumColour, ChestMovement, BellyBreathing, TongueColour},
		signs: []sign{
			{BreathingEffort, []int8{effortMild}, []int8{effortMarked, effortMarked, effortGasp}, p4(0.15, 0.25, 0.55, 0.15), p4(0.01, 0.02, 0.20, 0.82)},
			{GumColour, []int8{gumPale}, []int8{gumBlue, gumGrey}, p4(0.01, 0.02, 0.12, 0.25), p4(0.001, 0.002, 0.03, 0.45)},
			{MouthBreathing, []int8{mouthStress}, []int8{mouthRest}, p4(0.06, 0.06, 0.06, 0.06), p4(0.004, 0.01, 0.12, 0.50)},
			{BellyBreathing, nil, []int8{1}, p4(0, 0, 0, 0), p4(0.06, 0.12, 0.5, 0.8)},
		},
		measures: []measure{{BreathingRate, p4(26, 31, 50, 64), 8}}},
	{complaint: "panting", weight: [numSpecies]float64{0, 32, 6}, need: p4(0.80, 0.17, 0.025, 0.005),
		form: []Finding{MouthBreathing, BreathingRate, GumColour},
		signs: []sign{
			{MouthBreathing, []int8{mouthStress}, []int8{mouthRest}, p4(0.85, 0.85, 0.5, 0.3), p4(0.006, 0.01, 0.3, 0.6)},
			{BreathingEffort, []int8{effortMild}, []int8{effortMarked}, p4(0.10, 0.15, 0.4, 0.2), p4(0.003, 0.006, 0.1, 0.6)},
		},
		measures: []measure{{BreathingRate, p4(29, 33, 50, 64), 7}}},
	{complaint: "fit", weight: [numSpecies]float64{18, 8, 5}, need: p4(0.20, 0.35, 0.27, 0.18),
		form: []Finding{Fits, Responsiveness, Pupils, BlinkReflex},
		signs: []sign{
			{Fits, []int8{1}, []int8{2, 3}, p4(0.9, 0.93, 0.3, 0.05), p4(0.01, 0.02, 0.7, 0.94)},
		}},
	{complaint: "collapse", weight: [numSpecies]float64{14, 10, 10}, need: p4(0.12, 0.20, 0.25, 0.43),
		form: []Finding{Responsiveness, GumColour, CapillaryRefill, HeartRate, LowerEyelid},
		signs: []sign{
			{Collapse, nil, []int8{1}, p4(0, 0, 0, 0), p4(0.35, 0.55, 0.90, 0.98)},
		}},
	{complaint: "poison", weight: [numSpecies]float64{45, 20, 12}, need: p4(0.58, 0.16, 0.17, 0.09),
		form: []Finding{SuspectedPoison, Responsiveness, GumColour, Retching, OnsetHours},
		signs: []sign{
			{SuspectedPoison, nil, []int8{1}, p4(0, 0, 0, 0), p4(0.45, 0.6, 0.96, 0.98)},
		},
		measures: []measure{{OnsetHours, p4(4, 5, 3, 2), 1}}},
	{complaint: "vehicle", weight: [numSpecies]float64{10, 18, 3}, need: p4(0.16, 0.26, 0.32, 0.26),
		form: []Finding{RoadAccident, Bleeding, GumColour, ChestMovement, HindLimbs, ToePinch},
		signs: []sign{
			{RoadAccident, nil, []int8{1}, p4(0, 0, 0, 0), p4(0.8, 0.9, 0.96, 0.98)},
		}},
	{complaint: "urine", weight: [numSpecies]float64{25, 45, 25}, need: p4(0.48, 0.34, 0.125, 0.055),
		form: []Finding{Urination, Responsiveness, BellyFeel, OnsetHours},
		signs: []sign{
			{Urination, []int8{1, 4}, []int8{urineDrops, urineNone}, p4(0.75, 0.85, 0.1, 0.02), p4(0.03, 0.06, 0.88, 0.98)},
			{BellyFeel, []int8{3}, []int8{bellyHard}, p4(0.02, 0.04, 0.3, 0.35), p4(0.004, 0.01, 0.2, 0.5)},
		}},
	{complaint: "belly", weight: [numSpecies]float64{20, 10, 15}, need: p4(0.44, 0.30, 0.15, 0.11),
		form: []Finding{BellyFeel, Retching, GumColour, CapillaryRefill},
		signs: []sign{
			{BellyFeel, []int8{3, 2}, []int8{bellyHard, bellyDrum}, p4(0.15, 0.25, 0.6, 0.15), p4(0.03, 0.06, 0.36, 0.84)},
			{Retching, []int8{1}, []int8{retchUnproductive}, p4(0.1, 0.1, 0.2, 0.1), p4(0.02, 0.03, 0.15, 0.75)},
		}},
	{complaint: "rear", weight: [numSpecies]float64{55, 30, 60}, need: p4(0.68, 0.28, 0.03, 0.01),
		form: []Finding{UnderTail, Stool, AnalGlands},
		signs: []sign{
			{UnderTail, []int8{1, 2, 4, 5}, []int8{6, 7}, p4(0.7, 0.8, 0.3, 0.1), p4(0.001, 0.003, 0.65, 0.9)},
			{AnalGlands, []int8{1}, []int8{2}, p4(0.3, 0.3, 0.1, 0.05), p4(0.05, 0.3, 0.2, 0.05)},
		}},
	{complaint: "heat", weight: [numSpecies]float64{8, 1, 6}, need: p4(0.36, 0.24, 0.23, 0.17),
		form: []Finding{HeatExposure, BreathingRate, Temperature, GumColour},
		signs: []sign{
			{HeatExposure, nil, []int8{1}, p4(0, 0, 0, 0), p4(0.9, 0.9, 0.96, 0.98)},
			{BreathingEffort, []int8{effortMild}, []int8{effortMarked}, p4(0.25, 0.35, 0.65, 0.4), p4(0.005, 0.01, 0.2, 0.58)},
		},
		measures: []measure{
			{BreathingRate, p4(34, 38, 55, 70), 8},
			{Temperature, p4(38.8, 39.1, 39.9, 41.0), 0.4},
		}},
	{complaint: "advice", weight: [numSpecies]float64{105, 105, 95}, need: p4(0.94, 0.055, 0.005, 0),
		form: []Finding{Responsiveness}},
}
