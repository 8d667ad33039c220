package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/internal/version"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/queries"
)

// opener opens the store of the settings; tests give a table in memory.
type opener func(context.Context, settings.Settings) (*queries.DB, error)

// reading are the settings of every command that reads a store.
var reading = []string{"config", "store", "as-of", "threads", "memory", "confidence", "window", "lag", "min-verified"}

func openStore(ctx context.Context, set settings.Settings) (*queries.DB, error) {
	memory, err := megabytes(set.Memory)
	if err != nil {
		return nil, err
	}
	opt := queries.OpenOptions{AsOf: set.AsOf, Threads: set.Threads, MemoryMB: memory}
	if set.Data != "" {
		db, err := queries.OpenPublished(ctx, set.Data, opt)
		return db, blame(err)
	}
	db, err := queries.Open(ctx, set.Store, opt)
	return db, blame(err)
}

// megabytes reads the memory setting, such as 4GB or 500MB; empty is 0.
func megabytes(text string) (int, error) {
	if text == "" {
		return 0, nil
	}
	for suffix, factor := range map[string]int{"GB": 1000, "MB": 1} {
		if digits, ok := strings.CutSuffix(strings.ToUpper(text), suffix); ok {
			if n, err := strconv.Atoi(strings.TrimSpace(digits)); err == nil && n > 0 {
				return n * factor, nil
			}
		}
	}
	return 0, fmt.Errorf("%w: setting \"memory\": expected a size such as 4GB or 500MB, found %q", settings.ErrUsage, text)
}

// reviewOptions are the settings that the review knows.
func reviewOptions(set settings.Settings) review.Options {
	return review.Options{
		Confidence: set.Confidence, Window: set.Window, Lag: set.Lag, MinVerified: set.MinVerified,
		UnderLimit: set.UnderTriageLimit, OverLimit: set.OverTriageLimit, LimitSource: set.LimitSource,
		Software: version.String(),
	}
}

// month reads a flag that names a month, 0 if it is empty.
func month(flag, text string) (int, error) {
	if text == "" {
		return 0, nil
	}
	m, err := queries.ParseMonth(text)
	if err != nil {
		return 0, fmt.Errorf("%w: --%s: %w", settings.ErrUsage, flag, err)
	}
	return m, nil
}

// sayMissing says which questions a published dataset could not answer.
func sayMissing(w io.Writer, db *queries.DB) {
	if list := db.Missing(); len(list) > 0 {
		fmt.Fprintf(w, "report: left empty, because the published dataset does not hold what they need: %s\n", strings.Join(list, ", "))
	}
}

// blame makes an error about a parameter one of usage.
func blame(err error) error {
	if errors.Is(err, queries.ErrParameter) {
		return fmt.Errorf("%w: %w", settings.ErrUsage, err)
	}
	return err
}
