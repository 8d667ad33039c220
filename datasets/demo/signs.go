package demo

import "slices"

// bank looks up how one finding shows in one condition; nil fields mean that
// the common pattern holds.
type bank struct {
	sign    [NumFindings]*sign
	measure [NumFindings]*measure
}

// banks holds one bank a condition, common patterns filled in.
var banks = buildBanks()

func buildBanks() []bank {
	out := make([]bank, len(conditions))
	for c := range conditions {
		for i := range commonSigns {
			out[c].sign[commonSigns[i].f] = &commonSigns[i]
		}
		for i := range commonMeasures {
			out[c].measure[commonMeasures[i].f] = &commonMeasures[i]
		}
		for i := range conditions[c].signs {
			s := &conditions[c].signs[i]
			out[c].sign[s.f] = s
		}
		for i := range conditions[c].measures {
			m := &conditions[c].measures[i]
			out[c].measure[m.f] = m
		}
	}
	return out
}

// speciesShift moves the means of the common measures, which are a dog's.
func speciesShift(f Finding, species int, mean float64) float64 {
	switch f {
	case BreathingRate:
		return mean * [numSpecies]float64{0.94, 1, 1.7}[species]
	case HeartRate:
		return mean * [numSpecies]float64{1, 1.6, 2.2}[species]
	case Temperature:
		return mean + [numSpecies]float64{0, -0.4, 0.3}[species]
	}
	return mean
}

// limits of a believable true value, in units.
var measureLimits = map[Finding][2]float64{
	CapillaryRefill: {0.5, 7}, BreathingRate: {8, 180}, HeartRate: {40, 340}, Temperature: {34.5, 42.5},
	OnsetHours: {0.5, 240}, HoursSinceEating: {1, 96}, HoursSinceDroppings: {1, 96},
}

var measureLow, measureHigh = splitLimits()

func splitLimits() (low, high [NumFindings]float64) {
	for f, l := range measureLimits {
		low[f], high[f] = l[0], l[1]
	}
	return low, high
}

// coldInShock is the mean temperature of the emergencies that have cooled down
// instead of running a fever.
const coldInShock = 36.2

var commonTemperature = slices.IndexFunc(commonMeasures, func(m measure) bool { return m.f == Temperature })

// trueSign draws what a careful observer would find: a code position, or a
// number in units.
func (m *model) trueSign(e *episode, f Finding) (code int8, value float64) {
	d, b := m.d, &banks[e.condition]
	if findingTable[f].codes == nil {
		s := b.measure[f]
		mean := s.mean[e.need]
		if f == Temperature && e.need == 3 && s == &commonMeasures[commonTemperature] && d.chance(0.35) {
			mean = coldInShock
		}
		v := d.normal(speciesShift(f, e.pet.species, mean), s.sd*(1+0.4*d.u()))
		return 0, min(max(v, measureLow[f]), measureHigh[f])
	}
	s := b.sign[f]
	if s == nil {
		return 0, 0
	}
	switch x := d.u(); {
	case x < s.pSev[e.need]:
		return s.severe[d.below(len(s.severe))], 0
	case x < s.pSev[e.need]+s.pMild[e.need] && len(s.mild) > 0:
		return s.mild[d.below(len(s.mild))], 0
	}
	return 0, 0
}
