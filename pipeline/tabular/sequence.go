package tabular

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"sync"
)

// sequence hands out rows that a library delivers one after the other; callers
// of Next take turns.
type sequence struct {
	path   string
	header []string
	ncols  int
	place  []int
	mu     sync.Mutex
	end    error
	notes  [numNotes]int64
	// pull fills b with the next rows and returns io.EOF with or behind the last.
	pull func(b *Batch) error
}

// Header implements Reader.
func (s *sequence) Header() []string { return s.header }

// Next implements Reader.
func (s *sequence) Next(b *Batch) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	b.shape(s.ncols+1, s.place)
	for {
		b.Rows, b.Broken, b.Data = b.Rows[:0], b.Broken[:0], b.Data[:0]
		if s.end != nil {
			return s.end
		}
		s.end = s.pull(b)
		if len(b.Rows)+len(b.Broken) > 0 {
			return nil
		}
	}
}

// Notes implements Reader.
func (s *sequence) Notes() map[string]int64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	m := map[string]int64{}
	for i, n := range s.notes {
		if n > 0 {
			m[noteNames[i]] = n
		}
	}
	return m
}

// put writes one cell.
func (b *Batch) put(row, column int, cell string, f Form) {
	b.columns[column][row] = formSpan(len(b.Data), len(cell), f)
	b.Data = append(b.Data, cell...)
}

// ContentHash implements Reader; the file is read once more for it.
func (s *sequence) ContentHash() string {
	f, err := os.Open(s.path)
	if err != nil {
		return ""
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return ""
	}
	return hex.EncodeToString(h.Sum(nil))
}
