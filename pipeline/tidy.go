package pipeline

import (
	"errors"
	"fmt"

	"hindcheck/pipeline/store"
)

// Tidied says what Tidy deleted.
type Tidied struct {
	// Files and Bytes of files that the manifest no longer lists, and of what a
	// load that was cut left behind.
	Files int   `json:"files"`
	Bytes int64 `json:"bytes"`
}

// ErrReader says that a reader still holds files that would be deleted.
var ErrReader = errors.New("a reader is at work on this store, and files that it may hold were left; wait for it to end and try again")

// Tidy deletes every file of the store's folders that the manifest does not
// list, so that a listing of current/ is the present. Nothing is deleted while
// a reader is at work (ErrReader) or a load (store.ErrBusy). A nil fsys is the
// real disk.
func Tidy(fsys store.FS, dir string) (*Tidied, error) {
	if fsys == nil {
		fsys = store.Disk{}
	}
	s, err := store.Open(dir) // a store that is not there must not be made
	if err != nil {
		return nil, fmt.Errorf("tidy: %w", err)
	}
	if err := s.Close(); err != nil {
		return nil, err
	}
	before, bytes, err := store.Unlisted(dir)
	if err != nil {
		return nil, fmt.Errorf("tidy: %w", err)
	}
	// Opening a change clears what is left over, and closing it again.
	tx, err := store.Begin(fsys, dir)
	if err != nil {
		return nil, diskRemedy(dir, err)
	}
	if err := tx.Close(); err != nil {
		return nil, diskRemedy(dir, err)
	}
	after, left, err := store.Unlisted(dir)
	switch {
	case err != nil:
		return nil, fmt.Errorf("tidy: %w", err)
	case after > 0:
		return nil, fmt.Errorf("tidy %s: %w", dir, ErrReader)
	}
	return &Tidied{Files: before - after, Bytes: bytes - left}, nil
}
