package main

import (
	"fmt"
	"io"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
)

// output is one result in its forms.
type output struct {
	value     any // as JSON
	text, csv func(io.Writer) error
}

// write writes the form that --format asks for, to --out or standard output.
func write(s command.Streams, set settings.Settings, o output) error {
	return command.WriteResult(s.Out, set.Out, func(w io.Writer) error {
		switch set.Format {
		case "json":
			return command.WriteJSON(w, o.value)
		case "csv":
			return o.csv(w)
		case "text":
			return o.text(w)
		}
		return fmt.Errorf("%w: --format %s: expected text, csv or json", settings.ErrUsage, set.Format)
	})
}
