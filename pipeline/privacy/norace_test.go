//go:build !race

package privacy

const raced = false // whether the race detector watches
