package review

import (
	"fmt"
	"strconv"
)

// plain says a question's answer without terms of art.
func plain(q Question) string {
	of := map[string]string{
		"under_triage same_day":  "animals that needed care the same day or sooner, %s first advised to wait longer",
		"under_triage emergency": "animals that needed emergency care, %s first advised something less urgent",
		"over_triage same_day":   "animals that did not need care the same day, %s sent in that day all the same",
		"over_triage emergency":  "animals that needed no emergency care, %s sent in as an emergency all the same",
	}[q.Of+" "+q.Cut]
	f := q.Figure
	if !f.Estimable() || f.Low == nil || f.High == nil {
		s := fmt.Sprintf("Of every 100 "+of+": the records do not tell how many.", "were")
		if q.Verdict == Concern {
			s += fmt.Sprintf(" But even at the most favourable it is more than the limit of %s.", perHundred(q.Limit))
		}
		return s
	}
	s := fmt.Sprintf("Of every 100 "+of+".", fmt.Sprintf("about %s (%s to %s) were", perHundred(*f.Estimate), perHundred(*f.Low), perHundred(*f.High)))
	switch {
	case q.Limit >= 1:
		return s + " No limit is set."
	case q.Verdict == Concern:
		return s + fmt.Sprintf(" That is above the limit of %s.", perHundred(q.Limit))
	case q.Verdict == NoConcern:
		return s + fmt.Sprintf(" That is within the limit of %s.", perHundred(q.Limit))
	}
	return s + fmt.Sprintf(" The limit is %s; the records do not settle on which side of it the line is.", perHundred(q.Limit))
}

// perHundred writes a share as a number of hundred: whole from ten up, with
// one decimal below, where it matters.
func perHundred(x float64) string {
	if x >= 0.0995 {
		return strconv.FormatFloat(100*x, 'f', 0, 64)
	}
	s := strconv.FormatFloat(100*x, 'f', 1, 64)
	if s[len(s)-2:] == ".0" {
		s = s[:len(s)-2]
	}
	return s
}
