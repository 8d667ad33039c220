package review

import "hindcheck/metrics"

// FigureOf dresses an estimate as every result of report shows it.
func FigureOf(e metrics.Estimate) Figure { return figure(e) }

// Enter adds n episodes of an advised level to a cell according to how their
// need (1, 0, or -1 for not verified) became known by route; see sent.
func Enter(c *metrics.VerificationCell, level, route, need int8, n int64) {
	enter(c, level, route, need, n)
}
