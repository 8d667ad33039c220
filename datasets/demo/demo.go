package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"time"
)

// ErrOptions is wrapped by every error about impossible options.
var ErrOptions = errors.New("bad options")

// World says what decides whether an episode gets an outcome.
type World uint8

const (
	// WorldIgnorable: outcomes depend on the advice given, the site and on
	// things unrelated to need (distance, costs, how easily an owner is
	// reached). Among episodes alike in level and site, those with an outcome
	// are like those without.
	WorldIgnorable World = iota
	// WorldSelfPresenting: as WorldIgnorable, but animals that needed care
	// the same day, were told to wait and get worse ring again or come in by
	// themselves.
	WorldSelfPresenting
)

// Options say which line to invent.
type Options struct {
	// Seed decides everything; the same seed gives the same bytes.
	Seed uint64
	// Calls is the number of call records wanted, before exports repeat any;
	// the true number is within about 2 %. 0 means 24,000.
	Calls int
	// From and To bound the first contacts, To excluded; both are taken to
	// local midnight of the first of a month. Zero means May 2025 to October
	// 2026.
	From, To time.Time
	// World decides who gets an outcome.
	World World
	// NoAudit leaves out the weekly random audit.
	NoAudit bool
	// Piece numbers lines that are loaded into one store one after the other, from
	// 0: calls, outcomes, animals and owners of another piece have other numbers.
	Piece int
	// Dir is an existing or new folder for the exports; not used by Simulate
	// and WriteTruth.
	Dir string
	// Create, if set, opens each export instead of a file in Dir.
	Create func(name string) (io.WriteCloser, error)
}

const (
	defaultCalls = 24000
	// recordsPerUnit is the mean number of call records of an incoming unit:
	// transfers, second animals, call-backs and re-contacts add the rest.
	recordsPerUnit = 1.125
)

func (o Options) units() int { return max(1, int(math.Round(float64(o.Calls)/recordsPerUnit))) }

// withDefaults fills in zero values and checks the rest.
func (o Options) withDefaults() (Options, error) {
	loc, err := time.LoadLocation(Zone)
	if err != nil {
		return o, fmt.Errorf("load time zone %s: %w", Zone, err)
	}
	if o.Calls == 0 {
		o.Calls = defaultCalls
	}
	if o.From.IsZero() {
		o.From = time.Date(2025, 5, 1, 0, 0, 0, 0, loc)
	}
	if o.To.IsZero() {
		o.To = time.Date(2026, 11, 1, 0, 0, 0, 0, loc)
	}
	first := func(t time.Time) time.Time {
		t = t.In(loc)
		return time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, loc)
	}
	o.From, o.To = first(o.From), first(o.To)
	switch {
	case o.Piece < 0:
		return o, fmt.Errorf("%w: piece is %d, expected 0 or more", ErrOptions, o.Piece)
	case o.Calls < 0:
		return o, fmt.Errorf("%w: calls is %d, expected 0 or more", ErrOptions, o.Calls)
	case !o.From.Before(o.To):
		return o, fmt.Errorf("%w: to (%s) is not a later month than from (%s)", ErrOptions,
			o.To.Format("2006-01"), o.From.Format("2006-01"))
	case o.World > WorldSelfPresenting:
		return o, fmt.Errorf("%w: unknown world %d", ErrOptions, o.World)
	}
	return o, nil
}

// eachUnit draws every unit in order of time.
func eachUnit(ctx context.Context, o Options, visit func(m *model, u *unit) error) error {
	m, err := newModel(o)
	if err != nil {
		return err
	}
	for i := range o.units() {
		if i%4096 == 0 {
			if err := ctx.Err(); err != nil {
				return err
			}
		}
		if err := visit(m, m.draw(i)); err != nil {
			return err
		}
	}
	return nil
}
