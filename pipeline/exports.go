package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
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
	in   io.Reader // standard input, else nil
}

// stdinName is what standard input is called in messages and in the manifest.
const stdinName = "standard input"

// choose pairs the exports with the descriptions that read them.
func (opt LoadOptions) choose(ctx context.Context, descs []*source.Description) ([]reading, error) {
	if opt.Source != "" {
		var names []string
		for _, d := range descs {
			names = append(names, d.Source)
		}
		descs = slices.DeleteFunc(slices.Clone(descs), func(d *source.Description) bool { return d.Source != opt.Source })
		if len(descs) == 0 {
			return nil, fmt.Errorf("--source %s: expected the source: of a description (%s), found none; check the name", opt.Source, strings.Join(names, ", "))
		}
	}
	files := slices.DeleteFunc(slices.Clone(opt.Exports), func(e string) bool { return e == "-" })
	switch piped := len(opt.Exports) - len(files); {
	case piped == 0:
		return matchExports(files, descs, opt.Source != "")
	case len(files) > 0 || piped > 1:
		return nil, fmt.Errorf("%s: expected it alone (-), found other exports beside it; load them one after the other", stdinName)
	case len(descs) != 1 || opt.Source == "":
		return nil, fmt.Errorf("%s: expected --source with the name of the one description that reads it, found %q, which %d have; name one source", stdinName, opt.Source, len(descs))
	case opt.Stdin == nil:
		return nil, fmt.Errorf("%s: expected an export, found no input", stdinName)
	}
	return []reading{{stdinName, descs[0], cancelable{ctx, opt.Stdin}}}, nil
}

// cancelable is a reader that gives up waiting for input when ctx ends.
type cancelable struct {
	ctx context.Context
	in  io.Reader
}

func (c cancelable) Read(p []byte) (int, error) {
	type result struct {
		n   int
		err error
	}
	done, buf := make(chan result, 1), make([]byte, len(p))
	go func() {
		n, err := c.in.Read(buf)
		done <- result{n, err}
	}()
	select {
	case r := <-done:
		return copy(p, buf[:r.n]), r.err
	case <-c.ctx.Done():
		return 0, c.ctx.Err()
	}
}

// matchExports pairs each export with every description whose pattern fits its
// name, or with all of them where any name will do. A file that none fits is an error: it is better to stop than to leave
// a month out in silence.
func matchExports(paths []string, descs []*source.Description, anyName bool) ([]reading, error) {
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
			ok := anyName || d.Match == ""
			if !ok {
				if ok, err = filepath.Match(d.Match, filepath.Base(f)); err != nil {
					return nil, fmt.Errorf("%s: file.match: %w", d.Path, err)
				}
			}
			if ok {
				out = append(out, reading{path: f, desc: d})
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
