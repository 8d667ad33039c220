package main

import (
	"errors"
	"testing"

	"hindcheck/cmd/internal/settings"
)

func TestPeriod(t *testing.T) {
	for text, want := range map[string][2]int{
		"": {0, 0}, "2026-02": {202503, 202602}, "2025-09..2026-02": {202509, 202602}, "2026-02..2026-02": {202602, 202602},
	} {
		from, to, err := period("compare", text)
		if err != nil || from != want[0] || to != want[1] {
			t.Errorf("%q: %d %d %v, want %v", text, from, to, err, want)
		}
	}
	for _, text := range []string{"2026", "2026-13", "..", "2026-02..", "..2026-02", "2026-03..2026-02", "2026-02..2026-03..2026-04", "x"} {
		if _, _, err := period("compare", text); !errors.Is(err, settings.ErrUsage) {
			t.Errorf("%q: %v", text, err)
		}
	}
}
