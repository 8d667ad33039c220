package pipeline

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"syscall"

	"hindcheck/pipeline/store"
)

// diskRemedy adds what to do to an error of the disk under the store.
func diskRemedy(dir string, err error) error {
	switch {
	case err == nil || errors.Is(err, store.ErrApplied):
		return err
	case errors.Is(err, syscall.EROFS) || errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%w; the store is as it was; give this user the right to write in %s, or name another folder with --store", err, dir)
	// The database reports a full disk in words.
	case errors.Is(err, syscall.ENOSPC) || strings.Contains(strings.ToLower(err.Error()), "no space left"):
		return fmt.Errorf("%w; the store is as it was; make space on the disk of %s (a load needs about twice the size of its exports) and load again", err, dir)
	}
	return err
}
