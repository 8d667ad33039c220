package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/queries"
)

// runProposing writes a result and, if path names a file, the rules file that it
// proposes; propose gives its text and says in words what changed.
func runProposing[T any](ctx context.Context, s command.Streams, open opener, set settings.Settings, path string, all formats[T],
	build func(*queries.DB) (T, error), propose func(T, queries.Meta) (text []byte, what string, err error)) error {
	var meta queries.Meta
	r, write, err := result(ctx, open, set, all, func(db *queries.DB) (T, error) {
		meta = db.Meta()
		return build(db)
	})
	if err != nil {
		return err
	}
	if err := command.WriteResult(s.Out, set.Out, write); err != nil || path == "" {
		return err
	}
	text, what, err := propose(r, meta)
	if err != nil {
		return err
	}
	return writeProposal(s.Remarks(set.Quiet), path, text, what)
}

// writeProposal writes a proposed rules file and says what is left to do.
func writeProposal(remarks io.Writer, path string, text []byte, what string) error {
	if _, err := os.Stat(path); err == nil {
		return fmt.Errorf("%w: --write %s: the file is there already; name another", settings.ErrUsage, path)
	}
	err := command.WriteResult(nil, path, func(w io.Writer) error { _, err := w.Write(text); return err })
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(remarks, `wrote %s: %s
write its owner, reason and status, see that titles and whys still say what the
flags do, then: report rules check %s; report replay --proposed %s
`, path, what, path, path)
	return err
}
