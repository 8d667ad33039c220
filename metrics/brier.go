package metrics

import (
	"cmp"
	"math"
	"slices"
)

// BrierScore is the mean squared error of predicted probabilities and what it
// is made of.
type BrierScore struct {
	// Score is the mean of (outcome - predicted)^2 over calls, 0 (perfect) to 1.
	Score float64
	// Reference is the score of predicting the overall share for every call,
	// share * (1 - share); also called uncertainty.
	Reference float64
	// Scaled is 1 - Score / Reference: 1 perfect, 0 no better than the overall
	// share, negative worse. It is 0 and means nothing where Reference is 0:
	// ScaledKnown says.
	Scaled      float64
	ScaledKnown bool
	// Reliability (less is better) and Resolution (more is better) split the
	// score by distinct predicted value: Score = Reliability - Resolution +
	// Reference.
	Reliability, Resolution float64
	// LogLoss is the mean of -log(probability given to what happened), in
	// nats. It is 0 and means nothing unless LogLossKnown: something happened
	// that was given the probability 0.
	LogLoss      float64
	LogLossKnown bool
	// Trials is the number of calls.
	Trials int64
	// NotEstimable is empty, or the reason why there is no score.
	NotEstimable string
}

// Brier computes the Brier score of predictions, its split into reliability,
// resolution and uncertainty, and the logarithmic score. Calls with exactly the
// same predicted probability form one group of the split, so the three parts
// add up exactly; round predictions first if every call has its own.
//
// Without calls the score is marked not estimable. It returns an error wrapping
// ErrArgument for a probability outside [0, 1] or a count outside 0..Trials.
//
// Source: Brier (1950) Mon Weather Rev 78:1-3; split by Murphy (1973) J Appl
// Meteorol 12:595-600.
func Brier(predictions []Prediction) (BrierScore, error) {
	if err := checkPredictions(predictions); err != nil {
		return BrierScore{}, err
	}
	groups := byPrediction(predictions)
	var b BrierScore
	var successes, n float64
	b.LogLossKnown = true
	for _, g := range groups {
		s, f := float64(g.Successes), float64(g.Trials-g.Successes)
		successes += s
		n += s + f
		b.Score += s*(1-g.P)*(1-g.P) + f*g.P*g.P
		if s > 0 && g.P == 0 || f > 0 && g.P == 1 {
			b.LogLossKnown = false
			continue
		}
		if s > 0 {
			b.LogLoss -= s * math.Log(g.P)
		}
		if f > 0 {
			b.LogLoss -= f * math.Log1p(-g.P)
		}
	}
	if n == 0 {
		return BrierScore{NotEstimable: "no calls"}, nil
	}
	share := successes / n
	for _, g := range groups {
		size := float64(g.Trials)
		observed := float64(g.Successes) / size
		b.Reliability += size * (g.P - observed) * (g.P - observed) / n
		b.Resolution += size * (observed - share) * (observed - share) / n
	}
	b.Trials = int64(n)
	b.Score /= n
	b.Reference = share * (1 - share)
	if b.Reference > 0 {
		b.Scaled, b.ScaledKnown = 1-b.Score/b.Reference, true
	}
	if b.LogLoss /= n; !b.LogLossKnown {
		b.LogLoss = 0
	}
	return b, nil
}

// byPrediction gathers predictions of the same value, ascending, leaving out
// those without calls.
func byPrediction(predictions []Prediction) []Prediction {
	var groups []Prediction
	for _, p := range predictions {
		if p.Trials > 0 {
			groups = append(groups, p)
		}
	}
	slices.SortStableFunc(groups, func(a, b Prediction) int { return cmp.Compare(a.P, b.P) })
	out := groups[:0]
	for _, g := range groups {
		if k := len(out) - 1; k >= 0 && out[k].P == g.P {
			out[k].Successes += g.Successes
			out[k].Trials += g.Trials
			continue
		}
		out = append(out, g)
	}
	return out
}
