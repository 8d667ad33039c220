package repository

import (
	"io/fs"
	"path/filepath"
	"strings"
)

// files lists the files below root by their slash-separated names, without what
// git ignores and without hidden folders but .ci: the history and the settings
// of editors.
func files(root string) ([]string, error) {
	var out []string
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && path != root && (strings.HasPrefix(d.Name(), ".") && d.Name() != ".ci" || d.Name() == "hindcheck-demo" || d.Name() == "bin") {
			return filepath.SkipDir
		}
		if !d.IsDir() && d.Name() != ".git" {
			name, err := filepath.Rel(root, path)
			if err != nil {
				return err
			}
			out = append(out, filepath.ToSlash(name))
		}
		return nil
	})
	return out, err
}
