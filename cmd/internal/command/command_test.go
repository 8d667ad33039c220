package command

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/settings"
)

func tree(err error) *cobra.Command {
	root := &cobra.Command{Use: "thing", RunE: func(c *cobra.Command, _ []string) error { return c.Help() }}
	sub := &cobra.Command{Use: "do", Args: cobra.NoArgs, RunE: func(c *cobra.Command, _ []string) error {
		fmt.Fprintln(c.OutOrStdout(), "result")
		return err
	}}
	sub.Flags().Int("count", 0, "")
	root.AddCommand(sub)
	return root
}

func TestStatus(t *testing.T) {
	for name, c := range map[string]struct {
		args []string
		err  error
		want int
		msg  string
	}{
		"done":             {args: []string{"do"}, want: Done},
		"failed":           {args: []string{"do"}, err: errors.New("disk full"), want: Failed, msg: "thing: disk full\n"},
		"gate":             {args: []string{"do"}, err: fmt.Errorf("%w: 3 cases lowered", ErrGate), want: Gate, msg: "3 cases lowered"},
		"settings":         {args: []string{"do"}, err: fmt.Errorf("%w: no such level", settings.ErrUsage), want: Usage, msg: "thing: no such level\n"},
		"unknown flag":     {args: []string{"do", "--cuont=1"}, want: Usage, msg: "--cuont"},
		"bad flag value":   {args: []string{"do", "--count=x"}, want: Usage, msg: "count"},
		"unknown command":  {args: []string{"undo"}, want: Usage, msg: "undo"},
		"surplus argument": {args: []string{"do", "more"}, want: Usage, msg: "more"},
		"help":             {args: []string{"do", "--help"}, want: Done},
	} {
		t.Run(name, func(t *testing.T) {
			var out, errs bytes.Buffer
			got := Execute(context.Background(), tree(c.err), c.args, Streams{Out: &out, Err: &errs})
			if got != c.want || !strings.Contains(errs.String(), c.msg) {
				t.Errorf("status %d, message %q; want %d, %q", got, errs.String(), c.want, c.msg)
			}
			if c.want == Done && errs.Len() > 0 {
				t.Errorf("message on success: %q", errs.String())
			}
		})
	}
}
