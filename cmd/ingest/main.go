// Command ingest turns exports of calls, checks and vet outcomes into the
// Parquet records of a store. It parses flags, calls package pipeline and
// writes what came of it; run `ingest --help`.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/version"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	code := Run(ctx, os.Args[1:], os.Environ(), os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// Run runs the command with the given arguments, environment ("NAME=value")
// and streams, and returns the exit status: 0 done, 1 failed, 2 wrong usage.
func Run(ctx context.Context, args, env []string, stdin io.Reader, stdout, stderr io.Writer) int {
	s := command.Streams{In: stdin, Out: stdout, Err: stderr, Env: env}
	root := &cobra.Command{
		Use:   "ingest",
		Short: "Turn exports of an advice line into the records of a store",
		Long: `ingest reads exports of calls, home checks and vet outcomes, as a source
description says, and keeps them as Parquet records in a store. Callers, animals
and advisors become keyed pseudonyms; free text is never kept. A row that cannot
be used is set aside with its reason and never takes a good row with it.

Results go to standard output, messages to standard error. Exit status: 0 done
(rows set aside are no failure), 1 failed and nothing was changed, 2 wrong usage.
cmd/ingest/SCHEDULE.md shows how to run a load every night.`,
		Version: version.String(),
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.AddCommand(loadCommand(s), inspectCommand(s), statusCommand(s), setAsideCommand(s), verifyCommand(s), filesCommand(s), lookupCommand(s),
		eraseCommand(s), tidyCommand(s))
	return command.Execute(ctx, root, args, s)
}
