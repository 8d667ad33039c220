// Package archive keeps written reviews and finds the one that a new review
// follows. A review is one page and one JSON under the name of its month and
// the load that it read, so writing the same review again replaces itself and
// a later state of the same month stands beside the earlier one.
package archive

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/report/internal/review"
)

// Folder is the archive's name beside the output where no other is named.
const Folder = "reviews"

// ActionsFile is the name of the actions file within an archive.
const ActionsFile = "actions.yaml"

// name is how an archived review is called.
var name = regexp.MustCompile(`^review-(\d{4}-\d{2})-load-(\d+)\.json$`)

func base(month string, load int) string { return fmt.Sprintf("review-%s-load-%d", month, load) }

// entry is one archived review.
type entry struct {
	month string
	load  int
	file  string
}

func (e entry) before(month string, load int) bool {
	return e.month < month || e.month == month && e.load < load
}

// Last returns the review that one of month (2026-07) at a load follows: the
// latest month not after it, in the latest state not after its own. It is nil
// where there is none. A review of another state of the same month counts, so
// that a month restated is compared with what was said of it before.
func Last(dir, month string, load int) (*review.Review, error) {
	list, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("archive of reviews: %w", err)
	}
	var best *entry
	for _, d := range list {
		m := name.FindStringSubmatch(d.Name())
		if m == nil {
			continue
		}
		n, err := strconv.Atoi(m[2])
		if err != nil {
			continue
		}
		e := entry{m[1], n, filepath.Join(dir, d.Name())}
		if !e.before(month, load) || e.load > load {
			continue
		}
		if best == nil || best.before(e.month, e.load) {
			best = &e
		}
	}
	if best == nil {
		return nil, nil
	}
	return read(best.file)
}

func read(path string) (*review.Review, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("archived review: %w", err)
	}
	var r review.Review
	if err := json.Unmarshal(data, &r); err != nil {
		return nil, fmt.Errorf("archived review %s: %w; restore the file, or move it out of the archive to go without a comparison", path, err)
	}
	return &r, nil
}

// Keep puts the review of a month (2026-07) at a load into the archive: its JSON
// and its page, as the two writers write them.
func Keep(dir, month string, load int, json, page func(io.Writer) error) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("archive of reviews: %w", err)
	}
	path := filepath.Join(dir, base(month, load))
	for suffix, write := range map[string]func(io.Writer) error{".json": json, ".html": page} {
		if err := command.WriteResult(nil, path+suffix, write); err != nil {
			return fmt.Errorf("archive of reviews: %w", err)
		}
	}
	return nil
}
