//go:build unix

package privacy

import (
	"fmt"
	"io/fs"
)

// private refuses a key file that anyone but its owner may read or change.
func private(path string, info fs.FileInfo) error {
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return fmt.Errorf("%w: %s may be read or changed by others (mode %04o); expected 0600; run: chmod 600 %s", ErrKey, path, mode, path)
	}
	return nil
}
