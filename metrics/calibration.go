package metrics

import (
	"math"
)

// MethodCalibrationWald names the limits of the calibration intercept and slope.
const MethodCalibrationWald Method = "logistic recalibration, Wald"

// Prediction is one predicted probability with the calls it was made for. The
// same probability may come more than once.
type Prediction struct {
	// P is the predicted probability of the outcome, 0 to 1.
	P float64
	// Successes of Trials calls had the outcome.
	Successes, Trials int64
}

// Calibration says how predicted probabilities agree with what happened.
type Calibration struct {
	// Intercept is the shift on the log odds scale that would make predictions
	// right on average with their spread as it is (slope held at 1): below 0,
	// predictions are too high. Also called calibration in the large.
	Intercept Estimate
	// Slope multiplies the predicted log odds: 1 is right, below 1 predictions
	// are too extreme, above 1 too timid.
	Slope Estimate
	// JointIntercept is the intercept fitted together with Slope.
	JointIntercept Estimate
	// InterceptSE and SlopeSE are the standard errors; 0 where not estimable.
	InterceptSE, SlopeSE float64
	// ObservedOverExpected is observed outcomes over the sum of predictions.
	// It is 0 and means nothing unless ExpectedKnown: every prediction was 0.
	ObservedOverExpected float64
	ExpectedKnown        bool
	// Observed and Expected are those two sums; Trials the number of calls.
	Observed, Expected float64
	Trials             int64
}

// Calibrate estimates calibration intercept and slope of predictions by
// logistic regression of the outcome on the predicted log odds.
//
// The predictions must come from elsewhere: judged on the very calls the model
// was fitted to, intercept 0 and slope 1 come out whatever the model is worth. A
// prediction of exactly 0 or 1 has no log odds; intercept and slope are then not
// estimable, as they are without calls, without both outcomes, with separated
// outcomes or (slope only) with one single predicted value. Limits are Wald's at
// conf. It returns an error wrapping ErrArgument for a probability outside
// [0, 1], a count outside 0..Trials, or a conf outside (0, 1).
//
// Source: Cox (1958) Biometrika 45:562-565; Steyerberg, Clinical Prediction
// Models, 2nd ed. 2019, section 15.3.
func Calibrate(predictions []Prediction, conf float64) (Calibration, error) {
	if err := checkConf(conf); err != nil {
		return Calibration{}, err
	}
	if err := checkPredictions(predictions); err != nil {
		return Calibration{}, err
	}
	var out Calibration
	patterns := make([]Pattern, len(predictions))
	certain := false
	for i, p := range predictions {
		out.Observed += float64(p.Successes)
		out.Expected += p.P * float64(p.Trials)
		out.Trials += p.Trials
		patterns[i] = Pattern{X: []float64{0}, Successes: p.Successes, Trials: p.Trials}
		if p.P > 0 && p.P < 1 {
			patterns[i].X[0] = math.Log(p.P / (1 - p.P))
		} else if p.Trials > 0 {
			certain = true
		}
	}
	if out.Expected > 0 {
		out.ObservedOverExpected, out.ExpectedKnown = out.Observed/out.Expected, true
	}
	if certain {
		e := notEstimable(conf, MethodCalibrationWald, "a prediction is exactly 0 or 1 and has no log odds")
		out.Intercept, out.Slope, out.JointIntercept = e, e, e
		return out, nil
	}
	if err := out.fitSlope(patterns, conf); err != nil {
		return Calibration{}, err
	}
	return out, out.fitIntercept(patterns, conf)
}

// fitSlope fits intercept and slope together.
func (c *Calibration) fitSlope(patterns []Pattern, conf float64) error {
	fit, err := FitLogistic([]string{"predicted log odds"}, patterns)
	if err != nil {
		return err
	}
	table, err := fit.WaldLimits(conf)
	if err != nil {
		return err
	}
	c.JointIntercept, c.Slope, c.SlopeSE = table[0].LogOdds, table[1].LogOdds, table[1].SE
	c.JointIntercept.Method, c.Slope.Method = MethodCalibrationWald, MethodCalibrationWald
	return nil
}

// fitIntercept fits the intercept with the predicted log odds as an offset.
func (c *Calibration) fitIntercept(patterns []Pattern, conf float64) error {
	constant := make([]Pattern, len(patterns))
	for i, p := range patterns {
		constant[i] = Pattern{Successes: p.Successes, Trials: p.Trials}
	}
	fit, err := newLogisticFit(nil, constant)
	if err != nil {
		return err
	}
	if fit.NotEstimable == "" {
		fit.design.offset = make([]float64, len(fit.design.source))
		for row, i := range fit.design.source {
			fit.design.offset[row] = patterns[i].X[0]
		}
		fit.finish()
	}
	table, err := fit.WaldLimits(conf)
	if err != nil {
		return err
	}
	c.Intercept, c.InterceptSE = table[0].LogOdds, table[0].SE
	c.Intercept.Method = MethodCalibrationWald
	return nil
}

func checkPredictions(predictions []Prediction) error {
	for i, p := range predictions {
		if !(p.P >= 0 && p.P <= 1) {
			return argErr("prediction %d: probability %v, expected a number from 0 to 1", i+1, p.P)
		}
		if p.Trials < 0 || p.Successes < 0 || p.Successes > p.Trials {
			return argErr("prediction %d: %d of %d, expected 0 to all of the trials", i+1, p.Successes, p.Trials)
		}
	}
	return nil
}
