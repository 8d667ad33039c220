//go:build !linux

package store

// refuseNetwork cannot tell a network file system here; the README asks for a
// local disk.
func refuseNetwork(string) error { return nil }
