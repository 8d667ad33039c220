package review

import (
	"fmt"
	"slices"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// comparableHours is how long after the call a vet's reading of a sign still
// tells about the owner's; later, or once treatment has begun, the sign may
// have changed and not been misread.
const comparableHours = queries.ExamHours

// Reading compares the owner's reading of one sign with the vet's.
type Reading struct {
	Finding string `json:"finding"`
	Label   string `json:"label"`
	Unit    string `json:"unit"`
	// Pairs compare; CannotTell were read by both too late or after treatment.
	Pairs      int64 `json:"pairs"`
	CannotTell int64 `json:"cannot_tell"`
	// Same is the share with the same word, or the same number as far as it is
	// stored.
	Same Figure `json:"same"`
	// Kappa corrects the agreement on words for chance.
	Kappa *Figure `json:"kappa,omitempty"`
	// Bias is the mean of owner minus vet, Lower and Upper the limits between
	// which 95 % of differences lie, in the finding's unit.
	Bias  *Figure `json:"bias,omitempty"`
	Lower *Figure `json:"lower,omitempty"`
	Upper *Figure `json:"upper,omitempty"`
}

// fillReadings compares readings, in the order of the dictionary.
func (b *builder) fillReadings(r *Review) error {
	rows, err := b.db.ReadingPairs(b.ctx, b.scope, comparableHours)
	if err != nil {
		return err
	}
	r.Readings = []Reading{}
	for _, f := range b.db.Meta().Findings {
		var pairs []queries.ReadingPairsRow
		x := Reading{Finding: f.ID, Label: f.Label, Unit: f.Unit}
		for _, row := range rows {
			switch {
			case row.Finding != f.ID:
			case row.Comparable:
				pairs = append(pairs, row)
				x.Pairs += row.N
			default:
				x.CannotTell += row.N
			}
		}
		if x.Pairs+x.CannotTell == 0 {
			continue
		}
		compare := b.compareCodes
		if f.Numeric() {
			compare = b.compareNumbers
		}
		if err := compare(&x, f, pairs); err != nil {
			return fmt.Errorf("%s: %w", f.ID, err)
		}
		r.Readings = append(r.Readings, x)
	}
	return nil
}

func (b *builder) compareCodes(x *Reading, f queries.Finding, pairs []queries.ReadingPairsRow) error {
	table := make([][]int64, len(f.Codes))
	for i := range table {
		table[i] = make([]int64, len(f.Codes))
	}
	var same int64
	for _, p := range pairs {
		i, j := slices.Index(f.Codes, p.OwnerCode), slices.Index(f.Codes, p.VetCode)
		if i < 0 || j < 0 {
			return fmt.Errorf("words %q and %q: expected words of the dictionary in force", p.OwnerCode, p.VetCode)
		}
		table[i][j] += p.N
		if i == j {
			same += p.N
		}
	}
	if err := b.same(x, same); err != nil {
		return err
	}
	if len(table) < 2 {
		return nil
	}
	k, err := metrics.CohenKappa(table, b.opt.Confidence)
	if err != nil {
		return err
	}
	kappa := figure(k.Estimate)
	x.Kappa = &kappa
	return nil
}

func (b *builder) compareNumbers(x *Reading, f queries.Finding, pairs []queries.ReadingPairsRow) error {
	step := 1 / float64(max(1, f.Scale))
	var list []metrics.ReadingPair
	var same int64
	for _, p := range pairs {
		if p.OwnerNumber == nil || p.VetNumber == nil {
			continue
		}
		list = append(list, metrics.ReadingPair{First: *p.OwnerNumber, Second: *p.VetNumber, Animals: p.N})
		if d := *p.OwnerNumber - *p.VetNumber; d < step/2 && d > -step/2 {
			same += p.N
		}
	}
	if err := b.same(x, same); err != nil {
		return err
	}
	l, err := metrics.BlandAltman(list, 0.95, b.opt.Confidence)
	if err != nil {
		return err
	}
	bias, lower, upper := figure(l.Bias), figure(l.Lower), figure(l.Upper)
	x.Bias, x.Lower, x.Upper = &bias, &lower, &upper
	return nil
}

func (b *builder) same(x *Reading, same int64) error {
	e, err := metrics.Wilson(same, x.Pairs, b.opt.Confidence)
	x.Same = figure(e)
	return err
}
