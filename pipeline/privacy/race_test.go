//go:build race

package privacy

const raced = true // whether the race detector watches
