package casedef

import (
	_ "embed"
	"sync"
)

//go:embed default.yaml
var defaultFile []byte

// Default returns the definition that is used where none is named. It panics
// only if the file built into the program is broken.
var Default = sync.OnceValue(func() *Definition {
	d, err := Parse("built-in case definition", defaultFile)
	if err != nil {
		panic(err)
	}
	return d
})

// DefaultText is the file of Default, for a reader who must see it in full.
func DefaultText() string { return string(defaultFile) }
