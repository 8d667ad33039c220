package main

import (
	"fmt"
	"io"
	"maps"
	"slices"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
)

// formats are the writers of a result by the name of the format.
type formats[T any] map[string]func(io.Writer, T) error

// chooseWriter finds a format's writer; one that a result does not have is
// wrong usage.
func chooseWriter[T any](name string, all formats[T]) (func(io.Writer, T) error, error) {
	if w, ok := all[name]; ok {
		return w, nil
	}
	return nil, fmt.Errorf("%w: --format %s: expected one of %v", settings.ErrUsage, name, slices.Sorted(maps.Keys(all)))
}

// asJSON writes any result as JSON.
func asJSON[T any](w io.Writer, r T) error { return command.WriteJSON(w, r) }

// bindWriter binds a result to its writer.
func bindWriter[T any](write func(io.Writer, T) error, r T) func(io.Writer) error {
	return func(w io.Writer) error { return write(w, r) }
}
