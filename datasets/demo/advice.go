package demo

// Level is how soon an animal must be seen.
type Level uint8

// Levels in order of urgency; LevelNone is "no level recorded".
const (
	LevelNone Level = iota
	HomeCare
	Soon
	SameDay
	Emergency
)

var levelIDs = [...]string{"", "home_care", "soon", "same_day", "emergency"}

// String returns the identifier of the level, empty for none.
func (l Level) String() string { return levelIDs[l] }

// Reasons the advisors give for departing from the rules.
const (
	noOverride int8 = iota
	overrideWorried
	overrideHistory
	overrideMinor
	overrideKnownCause
)

// driftMonth is the export month (from 0) from which Brillowfen advises lower
// than the rules: its tenth.
const driftMonth = 9

// advise draws the advisor's level from the rules' level. Advisors hear more
// than the form holds, so their raises find some of the animals that the rules
// miss; some of their departures are wrong.
func (m *model) advise(e *episode, c *contact) {
	d := m.d
	needs := Level(e.need + 1)
	level := c.ruleLevel
	if level == LevelNone {
		level = SameDay // nothing assessed: seen today, to be safe
	}
	c.level = level
	switch level {
	case HomeCare, Soon:
		m.raise(c, level, needs)
	case SameDay:
		m.fromSameDay(c, needs)
	case Emergency:
		m.fromEmergency(e, c, needs)
	}
	if e.home.site == brillowfen && e.month >= driftMonth {
		if c.level == Emergency && d.chance(0.08) || c.level == SameDay && d.chance(0.22) {
			c.level--
			c.override = overrideMinor
		}
	}
	if c.level == c.ruleLevel {
		c.override = noOverride
	}
}

func (m *model) raise(c *contact, level, needs Level) {
	d := m.d
	toSameDay := [5]float64{0, 0.012, 0.05, 0.80, 0.88}[needs]
	toSoon := [5]float64{0, 0.04, 0.35, 0.7, 0.8}[needs]
	switch {
	case d.chance(toSameDay):
		c.level = SameDay
		if needs == Emergency && d.chance(0.5) {
			c.level = Emergency
		}
		c.override = overrideWorried
	case level == HomeCare && d.chance(toSoon):
		c.level, c.override = Soon, overrideHistory
	case level == Soon && needs == HomeCare && d.chance(0.18):
		c.level, c.override = HomeCare, overrideMinor
	}
}

func (m *model) fromSameDay(c *contact, needs Level) {
	d := m.d
	switch {
	case d.chance([5]float64{0, 0.004, 0.006, 0.02, 0.40}[needs]):
		c.level, c.override = Emergency, overrideWorried
	case d.chance([5]float64{0, 0.14, 0.12, 0.012, 0.004}[needs]):
		c.level, c.override = Soon, overrideMinor
	}
}

func (m *model) fromEmergency(e *episode, c *contact, needs Level) {
	d := m.d
	lower := [5]float64{0, 0.16, 0.14, 0.12, 0.02}[needs]
	if c.fired&afterStressBit != 0 {
		lower *= 2 // advisors trust this flag least
	}
	if d.chance(lower) {
		c.level, c.override = SameDay, overrideKnownCause
		if needs <= Soon && d.chance(0.25) {
			c.level, c.override = Soon, overrideMinor
		}
	}
}
