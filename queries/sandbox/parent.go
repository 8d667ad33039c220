package sandbox

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
)

// ErrStopped is wrapped by an error about a query that was stopped because it
// took too long or too much memory.
var ErrStopped = errors.New("query stopped")

// Worker says how to start the child: a program whose run with these arguments
// ends in Child.
type Worker struct {
	Path string
	Args []string
}

// Run answers a request in a child process and writes its result to out. What
// was written before an error is no result: the caller throws it away. Errors
// wrap ErrRefused if the text of the query is to blame, and ErrStopped if it
// ran into a limit.
func Run(ctx context.Context, w Worker, req Request, out io.Writer) error {
	req = req.withDefaults()
	for _, dir := range []*string{&req.Store, &req.Data} {
		if *dir == "" {
			continue
		}
		abs, err := filepath.Abs(*dir)
		if err != nil {
			return err
		}
		*dir = abs
	}
	asked, err := json.Marshal(req)
	if err != nil {
		return err
	}
	// The child ends with the thread that started it, see bind.
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	limited, cancel := context.WithTimeout(ctx, req.Limit)
	defer cancel()
	cmd := exec.CommandContext(limited, w.Path, w.Args...)
	message := &head{max: 8000}
	// A pipe, never a file of its own: the child may not write files.
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(asked), struct{ io.Writer }{out}, message
	// Nothing of the environment reaches the child, least of all a key. One
	// arena for the allocator keeps the address space close to what is used.
	cmd.Env = []string{"MALLOC_ARENA_MAX=1"}
	cmd.Dir = filepath.VolumeName(w.Path) + string(filepath.Separator)
	bind(cmd)
	err = cmd.Run()
	return verdict(ctx, limited, err, message.String(), req)
}

// verdict turns the end of the child into an error or none.
func verdict(ctx, limited context.Context, err error, message string, req Request) error {
	if err == nil {
		return nil
	}
	if ctx.Err() != nil {
		return fmt.Errorf("%w: %w", ErrStopped, ctx.Err())
	}
	if limited.Err() != nil {
		return fmt.Errorf("%w after %s; ask for less at a time, or raise --time-limit", ErrStopped, req.Limit)
	}
	var exit *exec.ExitError
	if !errors.As(err, &exit) {
		return fmt.Errorf("run the query in a process of its own: %w", err)
	}
	message = strings.TrimSpace(message)
	switch exit.ExitCode() {
	case childRefused:
		return fmt.Errorf("%w: %s", ErrRefused, message)
	case childFailed:
		if strings.Contains(message, "Out of Memory") || strings.Contains(message, "bad_alloc") {
			return tooLarge(req)
		}
		return errors.New(message)
	}
	// Anything else is the end of a process that could get no more memory.
	return tooLarge(req)
}

func tooLarge(req Request) error {
	return fmt.Errorf("%w: it needed more than the %d MB it may take; ask for less at a time, or raise --memory", ErrStopped, req.MemoryMB)
}

// head keeps the beginning of what is written to it.
type head struct {
	bytes.Buffer
	max int
}

// Write never fails, so that the child is not held up by a long message.
func (h *head) Write(p []byte) (int, error) {
	if room := h.max - h.Len(); room > 0 {
		h.Buffer.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}

// List describes the views of the store that a request names.
func List(ctx context.Context, w Worker, req Request) ([]View, error) {
	req.Text = ""
	var out bytes.Buffer
	if err := Run(ctx, w, req, &out); err != nil {
		return nil, err
	}
	var views []View
	if err := json.Unmarshal(out.Bytes(), &views); err != nil {
		return nil, fmt.Errorf("list the views: %w", err)
	}
	return views, nil
}
