package demo

// Feeds that deliver outcomes: the three practices, named after their site,
// and the line's own follow-up.
const (
	feedLine = numSites
	numFeeds = numSites + 1
)

// FeedIDs are the codes of the four feeds in file names and delivery log.
var FeedIDs = [numFeeds]string{"tarn", "bril", "cress", "line"}

// How an outcome came about.
const (
	routeNone int8 = iota
	advisedVisit
	ownDecision
	followUpCall
	auditCall
)

// What became of the animal.
const (
	resultNone int8 = iota
	sentHome
	treatedSentHome
	admitted
	operated
	referred
	died
	euthanised
	deadOnArrival
	didNotAttend
	lost
)

// Reasons for euthanasia.
const (
	whyNone int8 = iota
	whyPrognosis
	whyWelfare
	whyCost
	whyMixed
	whyPlanned
	whyBehaviour
	whyUnknown
)

// outcome is one row of an outcomes export.
type outcome struct {
	feed     int
	number   int64
	call     int64 // 0: the practice knew the animal only
	route    int8
	result   int8
	level    Level // LevelNone: not recorded
	seen     int64 // Unix seconds
	noted    int64
	critical bool
	why      int8
	stay     int8 // why the animal did not come, by position in staysWords
	knew     int8 // vet knew the telephone finding: 0 not recorded, 1 yes, 2 no
	match    int8 // per cent
	begun    int8 // treatment begun before the exam: 0 not recorded, 1 yes, 2 no
	p        float64
	reached  int8 // 0 does not apply, 1 reached, 2 not reached
	// contradicts marks an owner's account that the practice's record denies.
	contradicts bool
	blank       bool // neither level nor result recorded
	exam        bool
	vetChecks   [len(vetFindings)]float64 // code position or units; below 0 not made
}

// vetFindings are the checks that a vet repeats and writes down.
var vetFindings = [...]Finding{GumColour, CapillaryRefill, BreathingRate, Temperature}

func (m *model) addOutcome(e *episode, o outcome) {
	if e.no == len(e.outcomes) {
		return
	}
	o.number = (m.unit.number*3+int64(e.line-1))*10 + int64(e.no)
	e.outcomes[e.no] = o
	e.no++
}
