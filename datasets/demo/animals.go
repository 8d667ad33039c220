package demo

// Species of the line.
const (
	dog = iota
	cat
	rabbit
	numSpecies
)

var speciesID = [numSpecies]string{"dog", "cat", "rabbit"}

// Sites of the line.
const (
	tarnholt = iota
	brillowfen
	cressmark
	numSites
)

// SiteIDs are the identifiers of the three invented sites.
var SiteIDs = [numSites]string{"tarnholt", "brillowfen", "cressmark"}

var (
	siteShare    = []float64{0.45, 0.33, 0.22}
	speciesShare = []float64{0.55, 0.34, 0.11}
)

var breedGroups = [numSpecies][]string{
	dog:    {"small", "medium", "large", "giant", "flat_faced"},
	cat:    {"short_hair", "long_hair", "flat_faced"},
	rabbit: {"dwarf", "standard", "lop"},
}

var breedShare = [numSpecies][]float64{
	dog:    {0.30, 0.30, 0.24, 0.04, 0.12},
	cat:    {0.74, 0.20, 0.06},
	rabbit: {0.45, 0.30, 0.25},
}

// kilograms of a grown animal by species and breed group.
var grownKg = [numSpecies][]float64{
	dog:    {7, 16, 31, 55, 10},
	cat:    {4.2, 4.9, 4.4},
	rabbit: {1.4, 2.8, 2.2},
}

// household is an owner with one to three animals. It is a pure function of
// the seed and its number, so the same household comes back the same without
// being kept in memory.
type household struct {
	id        uint64
	site      int
	distance  float64 // km to the practice, unrelated to how ill any animal is
	costs     float64 // 0..1, how much the bill weighs on the decision to go
	answers   float64 // 0..1, how easily reached by telephone
	practice  int     // practice it goes to; -1 one outside the scheme
	misreads  float64 // multiplies the chance of a wrong reading
	declines  float64 // chance of declining a check that needs touching
	roundsTo2 bool    // says "two" for anything short
}

// animal is one animal of a household, also a pure function of its number.
type animal struct {
	id       uint64
	species  int
	breed    int
	male     bool
	neutered int8 // 0 no, 1 yes, 2 not known
	sexKnown bool
	born     int64 // Unix seconds; the age at the call follows
	grownKg  float64
	darkGums bool
}

func (m *model) household(id uint64) household {
	d := m.attr
	d.roll(m.seed, streamHousehold, id)
	h := household{id: id, site: d.pick(siteShare)}
	h.distance = 2 + 28*d.u()*d.u()*[numSites]float64{0.8, 1.1, 1.5}[h.site]
	h.costs = d.u()
	h.answers = d.u()
	switch x := d.u(); {
	case x < 0.90:
		h.practice = h.site
	case x < 0.94:
		h.practice = (h.site + 1) % numSites
	default:
		h.practice = -1
	}
	h.misreads = 0.4 + 1.2*d.u()
	h.declines = 0.02 + 0.06*d.u()*d.u()
	h.roundsTo2 = d.chance(0.35)
	return h
}

func (m *model) animal(id uint64, start int64) animal {
	d := m.attr
	d.roll(m.seed, streamAnimal, id)
	a := animal{id: id, species: d.pick(speciesShare)}
	a.breed = d.pick(breedShare[a.species])
	a.male = d.chance(0.51)
	a.neutered = int8(d.pick([]float64{0.30, 0.64, 0.06}))
	a.sexKnown = d.chance(0.97)
	span := [numSpecies]float64{13, 15, 9}[a.species]
	x := d.u()
	years := 0.15 + span*x
	if d.chance(0.05) {
		years = 0.12 * d.u() // pups and kittens of a few weeks
	}
	a.born = start - int64(years*365.25*86400)
	a.grownKg = grownKg[a.species][a.breed] * (0.8 + 0.45*d.u())
	a.darkGums = d.chance([numSpecies]float64{0.10, 0.05, 0.02}[a.species])
	return a
}

// ageMonths is the completed age at a moment, at least 1.
func (a animal) ageMonths(unix int64) int {
	return max(1, int(float64(unix-a.born)/(30.4375*86400)))
}

// weightKg is the weight at that age, to a tenth.
func (a animal) weightKg(unix int64) float64 {
	grown := min(1, 0.12+float64(a.ageMonths(unix))/11)
	return float64(int(a.grownKg*grown*10+0.5)) / 10
}

func (a animal) largeDog() bool { return a.species == dog && (a.breed == 2 || a.breed == 3) }
