package main

import (
	"fmt"
	"strings"

	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/queries"
)

// period reads a flag that names months: 2026-02 is the twelve months to it,
// 2025-09..2026-02 those from the one to the other; 0 and 0 if it is empty.
func period(flag, text string) (from, to int, err error) {
	if text == "" {
		return 0, 0, nil
	}
	bad := func(expected string) error {
		return fmt.Errorf("%w: --%s %q: expected %s", settings.ErrUsage, flag, text, expected)
	}
	first, last, both := strings.Cut(text, "..")
	if !both {
		last = first
	}
	if to, err = queries.ParseMonth(last); err != nil {
		return 0, 0, bad("a month such as 2026-02, or two such as 2025-09..2026-02")
	}
	if !both {
		return queries.AddMonths(to, 1-review.Months), to, nil
	}
	if from, err = queries.ParseMonth(first); err != nil {
		return 0, 0, bad("a month such as 2026-02, or two such as 2025-09..2026-02")
	}
	if from > to {
		return 0, 0, bad("the earlier month first")
	}
	return from, to, nil
}
