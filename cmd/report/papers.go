package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/report/internal/forms"
)

// paper is one file of a set that belongs together: a sheet, its blank form.
type paper struct {
	// name is the whole file name, or begins with a dot and follows that of the set.
	name  string
	write func(io.Writer) error
}

// writePapers writes a set into a folder with the source description of its
// form, and says where. A form that somebody may have filled in is never
// written over.
func writePapers(stdout io.Writer, dir string, form forms.Form, name string, set []paper) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	blank := filepath.Join(dir, name+".csv")
	if _, err := os.Stat(blank); err == nil {
		return fmt.Errorf("%s is there already and may have been filled in; move it away, or write to another folder with --out", blank)
	} else if !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%s: %w", name, err)
	}
	for _, p := range set {
		path := filepath.Join(dir, p.name)
		if strings.HasPrefix(p.name, ".") {
			path = filepath.Join(dir, name+p.name)
		}
		if err := command.WriteResult(nil, path, p.write); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		fmt.Fprintln(stdout, path)
	}
	described, err := form.Describe(dir)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(stdout, described)
	return err
}
