package sandbox

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"hindcheck/queries"
)

// Child answers one Request, which it reads from in, and returns the exit
// status of the process that it has to itself: the process cannot be used for
// anything else afterwards, since its limits stay. The result goes to out, a
// message to errs.
func Child(ctx context.Context, in io.Reader, out, errs io.Writer) int {
	var req Request
	if err := json.NewDecoder(in).Decode(&req); err != nil {
		fmt.Fprintln(errs, "read the request:", err)
		return childFailed
	}
	buffered := bufio.NewWriterSize(out, 1<<16)
	err := answer(ctx, req.withDefaults(), buffered)
	if err == nil {
		err = buffered.Flush()
	}
	switch {
	case err == nil:
		return childDone
	case errors.Is(err, ErrRefused):
		fmt.Fprintln(errs, strings.TrimPrefix(err.Error(), ErrRefused.Error()+": "))
		return childRefused
	}
	fmt.Fprintln(errs, err)
	return childFailed
}

func answer(ctx context.Context, req Request, out io.Writer) error {
	v, err := openViews(ctx, req)
	if err != nil {
		return err
	}
	defer v.Close()
	s, err := newSealed(ctx, v.DB, v.Files)
	if err != nil {
		return err
	}
	if req.Text == "" {
		return json.NewEncoder(out).Encode(s.views)
	}
	if err := confine(req); err != nil {
		return fmt.Errorf("bound the process: %w", err)
	}
	if err := s.inspect(ctx, req.Text); err != nil {
		return err
	}
	return s.run(ctx, req.Text, req.Format, out)
}

func openViews(ctx context.Context, req Request) (*queries.Views, error) {
	opt := queries.OpenOptions{AsOf: req.AsOf, Threads: req.Threads, MemoryMB: req.MemoryMB, NoSpill: true}
	if req.Data != "" {
		return queries.PublishedViews(ctx, req.Data, opt)
	}
	return queries.OpenViews(ctx, req.Store, opt)
}
