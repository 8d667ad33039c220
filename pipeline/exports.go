package pipeline

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/source"
)

// readSources reads every description (*.yaml, *.yml) of the given files and
// folders, in the order of their paths.
func readSources(paths []string, dict *findings.Dictionary) ([]*source.Description, error) {
	files, err := expand(paths, func(name string) bool {
		ext := strings.ToLower(filepath.Ext(name))
		return ext == ".yaml" || ext == ".yml"
	})
	if err != nil {
		return nil, fmt.Errorf("source descriptions: %w", err)
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("%s: expected source descriptions (*.yaml), found none; name their folder with --sources", strings.Join(paths, ", "))
	}
	var out []*source.Description
	var errs []error
	for _, f := range files {
		d, err := source.Read(f, dict)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		out = append(out, d)
	}
	return out, errors.Join(errs...)
}

// reading is an export with one description that fits it.
type reading struct {
	path string
	desc *source.Description
}

// matchExports pairs each export with every description whose pattern fits its
// name. A file that none fits is an error: it is better to stop than to leave
// a month out in silence.
func matchExports(paths []string, descs []*source.Description) ([]reading, error) {
	files, err := expand(paths, func(string) bool { return true })
	if err != nil {
		return nil, fmt.Errorf("exports: %w", err)
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("%s: expected exports, found no file", strings.Join(paths, ", "))
	}
	var out []reading
	for _, f := range files {
		n := len(out)
		for _, d := range descs {
			ok := d.Match == ""
			if !ok {
				if ok, err = filepath.Match(d.Match, filepath.Base(f)); err != nil {
					return nil, fmt.Errorf("%s: file.match: %w", d.Path, err)
				}
			}
			if ok {
				out = append(out, reading{f, d})
			}
		}
		if len(out) == n {
			return nil, fmt.Errorf("%s: expected a name that a source description matches (%s), found none; add a description or leave the file out",
				f, strings.Join(patterns(descs), ", "))
		}
	}
	return out, nil
}

func patterns(descs []*source.Description) []string {
	var out []string
	for _, d := range descs {
		out = append(out, d.Match)
	}
	return out
}

// expand lists the files of paths: files as they are, folders with the files
// directly in them, patterns with what they match. Hidden files are left out.
func expand(paths []string, want func(name string) bool) ([]string, error) {
	seen := map[string]bool{}
	var out []string
	add := func(path string) {
		if !seen[path] {
			seen[path] = true
			out = append(out, path)
		}
	}
	for _, p := range paths {
		st, err := os.Stat(p)
		switch {
		case err == nil && st.IsDir():
			entries, err := os.ReadDir(p)
			if err != nil {
				return nil, err
			}
			for _, e := range entries {
				if !e.IsDir() && !strings.HasPrefix(e.Name(), ".") && want(e.Name()) {
					add(filepath.Join(p, e.Name()))
				}
			}
		case err == nil:
			add(p)
		case errors.Is(err, fs.ErrNotExist) && strings.ContainsAny(p, "*?["):
			matches, merr := filepath.Glob(p)
			if merr != nil {
				return nil, fmt.Errorf("%s: %w", p, merr)
			}
			if len(matches) == 0 {
				return nil, fmt.Errorf("%s: expected at least one file, found none; check the pattern", p)
			}
			for _, m := range matches {
				add(m)
			}
		case errors.Is(err, fs.ErrNotExist):
			return nil, fmt.Errorf("%s: expected a file or folder, found nothing; check the path", p)
		default:
			return nil, err
		}
	}
	sort.Strings(out)
	return out, nil
}
