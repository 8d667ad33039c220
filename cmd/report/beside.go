package main

import (
	"context"
	"fmt"

	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/strict"
	"hindcheck/queries"
)

// beside reads what is to stand beside a review into its options, and opens the
// records under a second case definition if one is asked for.
func (o monthlyOptions) beside(ctx context.Context, set settings.Settings, build *review.Options) (also *queries.DB, err error) {
	if build.CompareFrom, build.CompareTo, err = period("compare", o.compare); err != nil {
		return nil, err
	}
	if build.BaselineFrom, build.BaselineTo, err = period("baseline", o.baseline); err != nil {
		return nil, err
	}
	if o.events != "" {
		text, err := strict.ReadFile(o.events)
		if err == nil {
			build.Events, err = review.ReadEvents(o.events, text)
		}
		if err != nil {
			return nil, fmt.Errorf("%w: --events: %w", settings.ErrUsage, err)
		}
	}
	if o.also == "" {
		return nil, nil
	}
	def, err := casedef.Load(o.also)
	if err != nil {
		return nil, fmt.Errorf("%w: --also: %w", settings.ErrUsage, err)
	}
	memory, err := megabytes(set.Memory)
	if err != nil {
		return nil, err
	}
	also, err = queries.Open(ctx, set.Store, queries.OpenOptions{AsOf: set.AsOf, Threads: set.Threads, MemoryMB: memory, Definition: def})
	return also, blame(err)
}
