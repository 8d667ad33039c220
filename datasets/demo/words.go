package demo

// Headers of the exports, by kind.
var headers = [...]string{
	callsFile: "Call no;Line;Site;Type;Kind;Transferred from;Started;Ended;Animal key;Owner key;Animal;Group;Sex;" +
		"Neutered;Age;Age unit;Weight;Weight unit;Reason;Advisor;Advice;Rules said;Rules version;Why changed;" +
		"Told when to ring again;Talk s;Hurt;Saved;Complained",
	checksFile: "Call no;Line;No;Item;Answer;Unit;Count;Secs;Seen by;Where;Animal was;Held;Done;Why not;Asked;Edited",
	outcomesFile: "outcome_no,call_no,line,animal_key,practice,source,route,seen,noted,level,result,time_critical," +
		"diagnosis,why_put_down,knew_advice,match,treated_before,selection_p,reached,why_not_seen,gum,crt_s,breaths_min,temp_c",
}

// Words of the call system.
var (
	unitWords   = [...]string{"advice", "line test", "hung up", "other matter", "already dead", "not the owner"}
	kindWords   = [...]string{"new", "ring back", "rang again"}
	levelWords  = [...]string{"", "at home", "in days", "today", "now"}
	animalWords = [numSpecies]string{"Dog", "Cat", "Rabbit"}
	siteWords   = [numSites]string{"Tarnholt", "Brillowfen", "Cressmark"}
	neuterWords = [...]string{"n", "y", "?"}
	whyWords    = [...]string{"", "worried", "history", "minor", "cause known"}
	hurtWords   = [...]string{"no", "scratch", "bite"}
	// The line's register of complaints, asked when the export is made.
	complainedWords = [...]string{"no", "advice", "manner"}
	stateWords      = [...]string{"ok", "could not", "would not", "not asked"}
	reasonWords     = [...]string{"", "stopped: urgent sign", "form skips", "fought", "bite risk", "too dark", "not sure", "no device", "other"}
	heldWords       = [...]string{"loose", "held", "towel", "not let"}
	whereWords      = [...]string{"home", "car", "clinic"}
	wasWords        = [...]string{"calm", "asleep", "upset"}
	blankWords      = [...]string{"", "", "", "-", "n/a"}
)

// Words of the practice systems.
var (
	routeWords   = [...]string{"", "sent", "own", "follow-up", "audit"}
	vetLevel     = [...]string{"", "D", "C", "B", "A"}
	resultWords  = [...]string{"", "home", "treated home", "ward", "surgery", "referred", "died", "put down", "dead on arrival", "no show", "not reached"}
	putDownWords = [...]string{"", "prognosis", "welfare", "cost", "mixed", "planned", "behaviour", "not given"}
	staysWords   = [...]string{"", "cost", "too far", "declined", "no slot", "other"}
	yesNoWords   = [...]string{"", "y", "n"}
	diagnoses    = map[string]string{
		"vomiting": "gut", "diarrhoea": "gut", "off food": "general", "quiet gut": "gut", "skin": "skin", "wound": "injury",
		"lame": "locomotion", "eye": "eye", "lump": "growth", "breathing": "chest", "panting": "chest", "fit": "nerves",
		"collapse": "circulation", "poison": "poison", "vehicle": "injury", "urine": "urinary", "belly": "gut",
		"rear": "rear", "heat": "heat", "advice": "none",
	}
	diagnosisOf = listDiagnoses()
)

func listDiagnoses() []string {
	out := make([]string, len(conditions))
	for i := range conditions {
		out[i] = diagnoses[conditions[i].complaint]
	}
	return out
}

// unitWord is the unit of a number check as the call system prints it.
func unitWord(f Finding) string {
	switch f {
	case CapillaryRefill:
		return "s"
	case BreathingRate, HeartRate:
		return "min"
	case Temperature:
		return "C"
	}
	return "h"
}
