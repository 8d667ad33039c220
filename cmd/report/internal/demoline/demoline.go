// Package demoline sets up the demonstration line in a folder: exports as a
// call system and practices would write them, the files that a line writes
// itself, and a store, loaded by the same code as `ingest load`. Everything
// about the line is invented.
package demoline

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/privacy"
)

// Options say which line to invent and where.
type Options struct {
	// Dir takes exports/, sources/, rules.yaml and the like, and store/.
	Dir   string
	Seed  uint64
	Calls int // 0 is 24,000
	// Threads of 0 uses every processor.
	Threads  int
	Software string
	Progress func(step string, rows int64)
}

// marker tells a folder that this package made from somebody's own.
const marker = "THIS-LINE-IS-INVENTED.txt"

const markerText = `This folder was made by "report demo". The advice line, its place, its practices,
callers, animals and rules are invented, and the rules are not for use on animals.
Running "report demo" again replaces everything in here.
`

// Store is the folder of the store below dir.
func Store(dir string) string { return filepath.Join(dir, "store") }

// Make writes the line and loads it. A folder that holds something else is
// refused; one that Make wrote before is replaced.
func Make(ctx context.Context, opt Options) (*pipeline.Summary, error) {
	if err := clear(opt.Dir); err != nil {
		return nil, fmt.Errorf("demonstration line: %w", err)
	}
	exports := filepath.Join(opt.Dir, "exports")
	opt.Progress("invent the exports", 0)
	if _, err := demo.Generate(ctx, demo.Options{Seed: opt.Seed, Calls: opt.Calls, Dir: exports}); err != nil {
		return nil, fmt.Errorf("demonstration line: %w", err)
	}
	if err := os.CopyFS(opt.Dir, demo.Settings()); err != nil {
		return nil, fmt.Errorf("demonstration line: %w", err)
	}
	if err := writeProposals(filepath.Join(opt.Dir, "proposals")); err != nil {
		return nil, fmt.Errorf("demonstration line: %w", err)
	}
	at := func(name string) string { return filepath.Join(opt.Dir, name) }
	secret := demoKey(opt.Seed)
	if err := os.WriteFile(at(KeyFile), []byte(hex.EncodeToString(secret)+"\n"), 0o600); err != nil {
		return nil, fmt.Errorf("demonstration line: %w", err)
	}
	key, err := privacy.NewKey(secret)
	if err != nil {
		return nil, err
	}
	return pipeline.Load(ctx, pipeline.LoadOptions{
		Store: Store(opt.Dir), Exports: []string{exports}, Sources: []string{at("sources")}, Key: key,
		Files: pipeline.DefinitionFiles{Rules: at("rules.yaml"), CaseDefinition: at("case_definition.yaml"), Strata: at("strata.yaml")},
		Now:   time.Now(), Threads: opt.Threads, Software: opt.Software, Progress: opt.Progress,
	})
}

// writeProposals writes the changes of rules that the line might discuss.
func writeProposals(dir string) error {
	list, err := demo.Proposals()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, p := range list {
		if err := os.WriteFile(filepath.Join(dir, p.Name), p.Text, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// KeyFile is the key of the pseudonyms in the folder of the line, for loading
// more into its store and for looking up call numbers.
const KeyFile = "line.key"

// demoKey is no secret: the animals are invented, and with the same key two
// machines get the same store.
func demoKey(seed uint64) []byte {
	secret := sha256.Sum256(fmt.Appendf(nil, "key of the demonstration line, seed %d", seed))
	return secret[:]
}

// clear empties a folder of ours, or makes a new one.
func clear(dir string) error {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		entries, err = nil, os.MkdirAll(dir, 0o755)
	}
	if err != nil {
		return err
	}
	if len(entries) > 0 {
		if _, err := os.Stat(filepath.Join(dir, marker)); err != nil {
			return fmt.Errorf("%s: expected an empty folder or one that this command made, found other files; name another with --dir", dir)
		}
	}
	for _, e := range entries {
		if err := os.RemoveAll(filepath.Join(dir, e.Name())); err != nil {
			return err
		}
	}
	return os.WriteFile(filepath.Join(dir, marker), []byte(markerText), 0o644)
}
