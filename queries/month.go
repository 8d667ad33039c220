package queries

import (
	"fmt"
	"time"
)

// ParseMonth reads 2026-07 as 202607.
func ParseMonth(text string) (int, error) {
	t, err := time.Parse("2006-01", text)
	if err != nil {
		return 0, fmt.Errorf("expected a month such as 2026-07, found %q", text)
	}
	return t.Year()*100 + int(t.Month()), nil
}

// MonthStart is the first instant of a month given as yyyymm, in UTC.
func MonthStart(month int) time.Time {
	return time.Date(month/100, time.Month(month%100), 1, 0, 0, 0, 0, time.UTC)
}

// AddMonths moves a month given as yyyymm by n months.
func AddMonths(month, n int) int {
	t := MonthStart(month).AddDate(0, n, 0)
	return t.Year()*100 + int(t.Month())
}

// FormatMonth writes 202607 as 2026-07.
func FormatMonth(month int) string { return fmt.Sprintf("%04d-%02d", month/100, month%100) }
