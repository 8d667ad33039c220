// Package command runs a cobra command tree with given arguments and streams
// and turns the error it ends with into an exit status. cmd/ingest and
// cmd/report share it so that a status means the same for both.
package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/settings"
)

// Exit statuses of every command.
const (
	Done   = 0
	Failed = 1
	Usage  = 2 // wrong flags, arguments or settings; nothing was done
	Gate   = 3 // all was done, and a gate said no
)

// ErrGate is wrapped by an error that reports a gate's refusal.
var ErrGate = errors.New("gate")

// Streams are what a command may read and write. Results go to Out, messages
// to Err; Env is as os.Environ gives it.
type Streams struct {
	In       io.Reader
	Out, Err io.Writer
	Env      []string
}

// Remarks takes what is said besides results and errors: Err, or nothing where
// quiet is asked for.
func (s Streams) Remarks(quiet bool) io.Writer {
	if quiet {
		return io.Discard
	}
	return s.Err
}

// Execute runs root with args and returns the exit status. It writes the
// error, if any, to s.Err as "name: text".
func Execute(ctx context.Context, root *cobra.Command, args []string, s Streams) int {
	root.SetArgs(args)
	root.SetIn(s.In)
	root.SetOut(s.Out)
	root.SetErr(s.Err)
	root.SilenceErrors = true
	root.SilenceUsage = true
	root.CompletionOptions.DisableDefaultCmd = true
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return fmt.Errorf("%w: %w; see %s --help", settings.ErrUsage, err, cmd.CommandPath())
	})
	ranOrHelp := false
	markRuns(root, &ranOrHelp)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return Done
	}
	// cobra refuses an unknown command or a wrong number of arguments before
	// any of our code runs; such errors carry no type.
	if !ranOrHelp && !errors.Is(err, settings.ErrUsage) {
		err = fmt.Errorf("%w: %w", settings.ErrUsage, err)
	}
	if ctx.Err() != nil {
		err = fmt.Errorf("interrupted: %w", err)
	}
	fmt.Fprintf(s.Err, "%s: %s\n", root.Name(), strings.TrimPrefix(err.Error(), settings.ErrUsage.Error()+": "))
	return Status(err)
}

// markRuns notes when a command's own code begins.
func markRuns(c *cobra.Command, ran *bool) {
	if run := c.RunE; run != nil {
		c.RunE = func(cmd *cobra.Command, args []string) error {
			*ran = true
			return run(cmd, args)
		}
	}
	for _, sub := range c.Commands() {
		markRuns(sub, ran)
	}
}

// Status maps an error to the exit status.
func Status(err error) int {
	switch {
	case err == nil:
		return Done
	case errors.Is(err, settings.ErrUsage):
		return Usage
	case errors.Is(err, ErrGate):
		return Gate
	}
	return Failed
}
