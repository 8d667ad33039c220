package main

import (
	"strings"
	"testing"
)

// Misuse of the sheets says what is wrong and what to do.
func TestSheetUsage(t *testing.T) {
	for name, c := range map[string]struct {
		args []string
		want string
	}{
		"a week that is no day":   {[]string{"audit", "--on", "July"}, "expected a day such as 2026-07-13"},
		"no calls":                {[]string{"audit", "--calls", "0"}, "expected 1 or more"},
		"impossible response":     {[]string{"audit", "--response", "1.5"}, "up to 1"},
		"too few calls":           {[]string{"audit", "--on", "2026-07-13", "--calls", "1"}, "expected at least"},
		"a format it has not":     {[]string{"audit", "--format", "parquet"}, "expected text, csv, json or html"},
		"no such case":            {[]string{"cases", "--id", "nobody"}, "no episode nobody"},
		"no such advisor":         {[]string{"advisor", "nobody"}, "no advisor nobody took a call"},
		"two advisors":            {[]string{"advisor", "a", "b"}, "accepts at most 1 arg"},
		"a negative least number": {[]string{"advisor", "a", "--min-count", "-1"}, "min-count"},
	} {
		t.Run(name, func(t *testing.T) {
			status, out, errs := report(t, nil, c.args...)
			if status != 2 || !strings.Contains(errs, c.want) || out != "" {
				t.Errorf("status %d, output %q, message %q; want 2 and %q", status, out, errs, c.want)
			}
		})
	}
	for _, args := range [][]string{{"audit"}, {"cases"}, {"advisor"}} {
		for _, format := range []string{"text", "csv", "json"} {
			if status, out, errs := report(t, nil, append(args, "--format", format)...); status != 0 || out == "" {
				t.Errorf("%s as %s: status %d: %s", args[0], format, status, errs)
			}
		}
	}
}
