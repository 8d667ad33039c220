package sandbox

import (
	_ "embed"
	"maps"
	"slices"
	"strings"
	"sync"
)

//go:embed allowed.txt
var allowedText string

// allowed is the set of functions that a SELECT may call, in lower case, the
// way the engine compares names.
var allowed = sync.OnceValue(func() map[string]bool { return names(allowedText) })

// tableFunctions are the functions that may stand in FROM: they make rows out
// of their arguments and read nothing.
var tableFunctions = map[string]bool{"range": true, "generate_series": true, "unnest": true}

// names reads a list of words; a line that begins with # is a remark.
func names(text string) map[string]bool {
	out := map[string]bool{}
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		for _, word := range strings.Fields(line) {
			out[strings.ToLower(word)] = true
		}
	}
	return out
}

// Functions lists what a query may call, in lower case and by name.
func Functions() []string { return slices.Sorted(maps.Keys(allowed())) }
