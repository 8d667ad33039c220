package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/queries"
)

// formats are the writers of a result by the name of the format.
type formats[T any] map[string]func(io.Writer, T) error

// chooseWriter finds a format's writer; one that a result does not have is
// wrong usage.
func chooseWriter[T any](name string, all formats[T]) (func(io.Writer, T) error, error) {
	if w, ok := all[name]; ok {
		return w, nil
	}
	known := slices.SortedFunc(maps.Keys(all), func(a, b string) int {
		return cmp.Or(cmp.Compare(slices.Index(usual, a), slices.Index(usual, b)), cmp.Compare(a, b))
	})
	return nil, oneOfFormats(name, known...)
}

// usual is the order in which formats are named.
var usual = []string{"text", "csv", "json", "html"}

// oneOfFormats refuses a format that a command does not write.
func oneOfFormats(format string, known ...string) error {
	if slices.Contains(known, format) {
		return nil
	}
	last := len(known) - 1
	return fmt.Errorf("%w: --format %s: expected %s or %s", settings.ErrUsage, format, strings.Join(known[:last], ", "), known[last])
}

// result opens the store and builds a result, once it is known that there is a
// writer for it; write writes it.
func result[T any](ctx context.Context, open opener, set settings.Settings, all formats[T], build func(*queries.DB) (T, error)) (r T, write func(io.Writer) error, err error) {
	writer, err := chooseWriter(set.Format, all)
	if err != nil {
		return r, nil, err
	}
	db, err := open(ctx, set)
	if err != nil {
		return r, nil, err
	}
	defer db.Close()
	if r, err = build(db); err != nil {
		return r, nil, blame(err)
	}
	return r, bindWriter(writer, r), nil
}

// asJSON writes any result as JSON.
func asJSON[T any](w io.Writer, r T) error { return command.WriteJSON(w, r) }

// bindWriter binds a result to its writer.
func bindWriter[T any](write func(io.Writer, T) error, r T) func(io.Writer) error {
	return func(w io.Writer) error { return write(w, r) }
}

// named puts the command's name before an error.
func named(command string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", command, err)
}
