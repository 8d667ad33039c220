package settings

import "time"

// Settings is everything that can be set. The mapstructure names are the keys
// of the file, the names of the flags and, in capitals with _ for - and
// HINDCHECK_ before, the variables of the environment.
type Settings struct {
	// Config is the settings file that was named, or empty.
	Config string `mapstructure:"config"`
	// Store is the folder of the Parquet store.
	Store string `mapstructure:"store"`
	// Data is the folder of a published dataset that is read instead of the
	// store, or empty.
	Data string `mapstructure:"data"`
	// Format is text, csv or json; commands that write pages add html, and
	// report sql parquet and arrow.
	Format string `mapstructure:"format"`
	// Out is the file or folder that takes the result; empty is standard output.
	Out string `mapstructure:"out"`
	// Quiet silences progress and remarks on standard error, never errors.
	Quiet bool `mapstructure:"quiet"`

	// Threads and Memory bound DuckDB; 0 and "" leave them to the machine.
	Threads int    `mapstructure:"threads"`
	Memory  string `mapstructure:"memory"`
	// AsOf shows the store as it was after that load; 0 is the present.
	AsOf int `mapstructure:"as-of"`

	// Sources, Rules, Dictionary, Definition, Strata and KeyFile name files or
	// folders that a load needs. Empty means what the store was loaded with
	// before, else the embedded default where there is one.
	Sources    string `mapstructure:"sources"`
	Rules      string `mapstructure:"rules"`
	Dictionary string `mapstructure:"dictionary"`
	Definition string `mapstructure:"definition"`
	Strata     string `mapstructure:"strata"`
	// Privacy names the file that says how coarsely ages, weights and times are
	// kept; empty means as the store was made.
	Privacy string `mapstructure:"privacy"`
	// KeyFile holds the secret of the pseudonyms. The variable HINDCHECK_KEY
	// may hold the secret itself and is never read here.
	KeyFile string `mapstructure:"key-file"`
	// EpisodeHours is how long after a first contact another one of the animal
	// still belongs to its episode; LinkHours how long after it an outcome
	// without a call number may still be linked by animal.
	EpisodeHours int `mapstructure:"episode-hours"`
	LinkHours    int `mapstructure:"link-hours"`

	// Cut is the level at and above which advice counts as escalated where a
	// result shows one cut only: same_day or emergency.
	Cut string `mapstructure:"cut"`
	// Confidence of all limits, between 0 and 1.
	Confidence float64 `mapstructure:"confidence"`
	// Window is the time after the first contact within which an outcome
	// counts, and Lag how long after it outcomes still arrive; together they
	// decide when a month is mature. A Window of 0 is that of the definition.
	Window time.Duration `mapstructure:"window"`
	Lag    time.Duration `mapstructure:"lag"`
	// MinVerified is the least number of followed-up episodes of a correction
	// stratum; thinner ones are joined in the order of the strata file. 0
	// takes the number from that file.
	MinVerified int `mapstructure:"min-verified"`
	// MinCount is the least number of one advisor's records on which a share of
	// hers is shown.
	MinCount int `mapstructure:"min-count"`

	// UnderTriageLimit and OverTriageLimit are what the line wishes to stay
	// below (per need: 1 - sensitivity, 1 - specificity), in 0..1; a limit of
	// 1 asks nothing. LimitSource says who set them and why, and is printed
	// wherever a conclusion rests on them.
	UnderTriageLimit float64 `mapstructure:"under-triage-limit"`
	OverTriageLimit  float64 `mapstructure:"over-triage-limit"`
	LimitSource      string  `mapstructure:"limit-source"`

	// Reviews is the folder in which written reviews are kept and found again;
	// empty is the folder reviews beside the output. Actions is the file of
	// what they agreed on; empty is actions.yaml in that folder.
	Reviews string `mapstructure:"reviews"`
	Actions string `mapstructure:"actions"`
	// Browser is the Chromium that prints; empty looks for one.
	Browser string `mapstructure:"browser"`
}

// setting is one row of the table. The type of the default is the type that
// the file, the environment and the flag must give.
type setting struct {
	key   string
	short string // one letter for the flag, or empty
	def   any
	usage string
}

// table lists every setting with its default. A new setting is a row here and
// a field above; a test holds the two together.
var table = []setting{
	{"config", "", "", "settings `FILE` (YAML); hindcheck.yaml is read if there is one"},
	{"store", "s", "store", "`FOLDER` of the Parquet store"},
	{"data", "", "", "read a published dataset in this `FOLDER` instead of the store"},
	{"format", "f", "text", "text, csv or json; pages and sheets also html"},
	{"out", "o", "", "write the result to this `PATH` instead of standard output"},
	{"quiet", "q", false, "no progress and no remarks on standard error"},
	{"threads", "", 0, "threads for queries; 0 uses all"},
	{"memory", "", "", "memory for queries, such as 4GB; empty is 1GB"},
	{"as-of", "", 0, "the store as it was after load `N`; 0 is the present"},
	{"sources", "", "sources", "`FOLDER` of source descriptions"},
	{"rules", "", "", "rules `FILE`"},
	{"dictionary", "", "", "findings dictionary `FILE`; empty uses the built-in one"},
	{"definition", "", "", "case definition `FILE`; empty uses the built-in one"},
	{"strata", "", "", "correction strata `FILE`; empty uses the built-in one"},
	{"privacy", "", "", "`FILE` that says how coarsely ages, weights and times are kept; empty: as the store has it"},
	{"key-file", "", "", "`FILE` with the secret key of the pseudonyms; else HINDCHECK_KEY holds it"},
	{"episode-hours", "", 0, "`HOURS` after a first contact within which contacts form one episode; 0: as the store has it, else 72"},
	{"link-hours", "", 0, "`HOURS` after a first contact within which an outcome is linked by animal; 0: as the store has it, else 168"},
	{"cut", "", "same_day", "count advice as escalated from this `LEVEL`: same_day or emergency"},
	{"confidence", "", 0.95, "confidence of the limits"},
	{"window", "", time.Duration(0), "time after the first contact within which an outcome counts; 0 takes it from the case definition"},
	{"lag", "", 45 * 24 * time.Hour, "time after the window until a month is mature"},
	{"min-verified", "", 0, "least followed-up episodes of a correction stratum; 0 takes it from the strata file"},
	{"min-count", "", 10, "least records of one advisor on which a share of hers is shown"},
	// Trauma field triage wishes under-triage below 5 % and over-triage below
	// 50 %: Mohan 2011 Arch Surg. Context for a telephone line, not a target.
	{"under-triage-limit", "", 0.05, "raise a concern above this share of animals in need; 1 asks nothing"},
	{"over-triage-limit", "", 0.50, "raise a concern above this share of animals not in need; 1 asks nothing"},
	{"limit-source", "", "built-in starting values after Mohan 2011 (human trauma field triage); not set by this advice line",
		"who set the limits and why; printed with every conclusion"},
	{"reviews", "", "", "`FOLDER` that keeps written reviews for later comparison; empty: reviews beside the output"},
	{"actions", "", "", "`FILE` of actions agreed on (YAML); empty: actions.yaml in the folder of reviews"},
	{"browser", "", "", "Chromium to print with, a `PATH`; empty looks for an installed one"},
}
