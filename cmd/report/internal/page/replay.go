package page

import (
	"io"

	"hindcheck/cmd/report/internal/replay"
)

func ReplayText(w io.Writer, r *replay.Report) error { return nil }
func ReplayCSV(w io.Writer, r *replay.Report) error  { return nil }
func ReplayHTML(w io.Writer, r *replay.Report) error { return nil }
