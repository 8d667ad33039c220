package command

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// WriteResult writes a result to stdout, or to the file at path. The file
// appears whole or not at all.
func WriteResult(stdout io.Writer, path string, write func(io.Writer) error) error {
	if path == "" || path == "-" {
		return write(stdout)
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("write result: %w", err)
	}
	if err := errors.Join(write(f), f.Chmod(0o644), f.Close()); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return os.Rename(f.Name(), path)
}

// WriteJSON writes a value as indented JSON with a final newline.
func WriteJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// Getenv looks names up in entries as os.Environ gives them; the last wins.
func Getenv(env []string) func(string) string {
	return func(name string) string {
		value := ""
		for _, e := range env {
			if v, ok := strings.CutPrefix(e, name+"="); ok {
				value = v
			}
		}
		return value
	}
}
