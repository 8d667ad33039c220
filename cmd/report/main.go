// Command report turns the records of a store into answers: a monthly review
// as a page, tables of red flags, and the counts behind them. It parses flags,
// asks package queries for counts and internal/review for estimates, and
// writes what comes back; run `report --help`.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/version"
	"hindcheck/queries/sandbox"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	code := Run(ctx, os.Args[1:], os.Environ(), os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// Run runs the command with the given arguments, environment ("NAME=value")
// and streams, and returns the exit status: 0 done, 1 failed, 2 wrong usage,
// 3 a gate said no. A process that report sql starts has others of its own.
func Run(ctx context.Context, args, env []string, stdin io.Reader, stdout, stderr io.Writer) int {
	if isWorker(args) {
		return sandbox.Child(ctx, stdin, stdout, stderr)
	}
	s := command.Streams{In: stdin, Out: stdout, Err: stderr, Env: env}
	return command.Execute(ctx, newRoot(s, openStore), args, s)
}

func newRoot(s command.Streams, open opener) *cobra.Command {
	root := &cobra.Command{
		Use:   "report",
		Short: "Say how often telephone triage was right, and which red flags earn their place",
		Long: `report reads a store of an advice line's records and answers questions about it:
a monthly review to print, the accuracy of every red flag, and the counts behind
each figure.

It is decision support for reviewing triage rules, not a diagnosis. An animal
with an emergency sign is seen, whatever a table says.

Results go to standard output, messages to standard error. Exit status: 0 done,
1 failed, 2 wrong usage, 3 a gate said no.`,
		Version: version.String(),
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.AddCommand(
		demoCommand(s, open),
		monthlyCommand(s, open),
		casesCommand(s, open),
		auditCommand(s, open),
		advisorCommand(s, open),
		flagsCommand(s, open),
		rulesCommand(s, open),
		thresholdsCommand(s, open),
		replayCommand(s, open),
		tuneCommand(s, open),
		queryCommand(s, open),
		sqlCommand(s),
		publishCommand(s, open),
		countsCommand(s, open),
		poolCommand(s),
		versionCommand(s),
	)
	return root
}
