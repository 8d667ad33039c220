// Package progress shows on a terminal what a long command is doing, and
// nothing at all in a pipe or a file.
package progress

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// Reporter shows steps; its zero value is silent. It may be used from several
// goroutines.
type Reporter struct {
	mu   sync.Mutex
	out  io.Writer
	bar  *progressbar.ProgressBar
	step string
}

// New reports to w if it is a terminal and quiet is false.
func New(w io.Writer, quiet bool) *Reporter {
	f, ok := w.(*os.File)
	if quiet || !ok || !term.IsTerminal(int(f.Fd())) {
		return &Reporter{}
	}
	return &Reporter{out: w}
}

// Step says what is being done now and, where rows are read, how many so far.
func (r *Reporter) Step(step string, rows int64) {
	if r.out == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if step != r.step {
		r.finish()
		r.step = step
		r.bar = progressbar.NewOptions64(-1, progressbar.OptionSetWriter(r.out), progressbar.OptionSetDescription(step),
			progressbar.OptionShowIts(), progressbar.OptionSetItsString("rows"), progressbar.OptionThrottle(100*time.Millisecond),
			progressbar.OptionClearOnFinish())
	}
	_ = r.bar.Set64(rows)
}

// Done clears the line.
func (r *Reporter) Done() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.finish()
}

func (r *Reporter) finish() {
	if r.bar != nil {
		_ = r.bar.Finish()
		_ = r.bar.Clear()
		fmt.Fprint(r.out, "\r")
		r.bar = nil
	}
}
