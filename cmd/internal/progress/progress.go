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
	left remaining
}

// remaining tells how long something with a known size still takes.
type remaining struct {
	begun       time.Time
	done, total int64
}

// text is ", about 40s left", or empty where that cannot be told yet.
func (r remaining) text(now time.Time) string {
	spent := now.Sub(r.begun)
	if r.total == 0 || r.done == 0 || r.done >= r.total || spent < time.Second {
		return ""
	}
	left := time.Duration(float64(spent) * float64(r.total-r.done) / float64(r.done))
	return fmt.Sprintf(", about %s left", left.Round(time.Second))
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
	if rows > 0 {
		r.bar.Describe(step + r.left.text(time.Now()))
	}
	_ = r.bar.Set64(rows)
}

// Bytes says how much has been read of all there is to read; the next Step
// shows the time that is left at the rate so far.
func (r *Reporter) Bytes(done, total int64) {
	if r.out == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.left.begun.IsZero() {
		r.left.begun = time.Now()
	}
	r.left.done, r.left.total = done, total
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
