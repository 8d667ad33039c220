package pipeline

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// EraseOptions say whose records leave which store.
type EraseOptions struct {
	Store string
	// Kind is animal or owner; Identifier is the raw key as the exports hold it.
	Kind, Identifier string
	Key              privacy.Key
	Now              time.Time
	Threads          int
	Software         string
	// FS is the disk; nil means the real one.
	FS store.FS
}

// Receipt says what an erasure did. It names nobody.
type Receipt struct {
	At   time.Time `json:"at"`
	Kind string    `json:"kind"`
	// Rows that went, present and superseded, by table.
	Rows map[string]int64 `json:"rows"`
	// FilesRewritten were written anew or dropped.
	FilesRewritten int `json:"files_rewritten"`
	// OldFilesGone says that the files that held the records are deleted. It
	// is false while a reader still holds the store; the next load deletes them.
	OldFilesGone bool `json:"old_files_gone"`
}

// ErrNobody says that the store holds no record under the identifier.
var ErrNobody = errors.New("the store holds no record under this identifier; check its spelling against the export, and the key")

// Erase removes every record of one animal or owner, present and superseded,
// wholly or not at all. The exports themselves are not touched: loading them
// again under a changed description would bring the records back.
func Erase(ctx context.Context, opt EraseOptions) (_ *Receipt, err error) {
	if opt.FS == nil {
		opt.FS = store.Disk{}
	}
	if opt.Kind != "animal" && opt.Kind != "owner" {
		return nil, fmt.Errorf("erase: expected animal or owner, found %q", opt.Kind)
	}
	if strings.TrimSpace(opt.Identifier) == "" {
		return nil, fmt.Errorf("erase: expected the %s's key as the exports hold it, found nothing", opt.Kind)
	}
	s, err := store.Open(opt.Store) // a store that is not there must not be made
	if err != nil {
		return nil, fmt.Errorf("erase: %w", err)
	}
	if err := s.Close(); err != nil {
		return nil, err
	}
	defer func() { err = diskRemedy(opt.Store, err) }()
	tx, err := store.Begin(opt.FS, opt.Store)
	if err != nil {
		return nil, err
	}
	r := &Receipt{At: opt.Now.UTC(), Kind: opt.Kind}
	if err := opt.eraseIn(ctx, tx, r); err != nil {
		return nil, errors.Join(err, tx.Close())
	}
	if err := tx.Close(); err != nil {
		return nil, err
	}
	r.OldFilesGone, err = store.OnlyListed(opt.Store)
	return r, err
}

func (opt EraseOptions) eraseIn(ctx context.Context, tx *store.Tx, r *Receipt) error {
	m := tx.Manifest
	if m.KeyCheck != opt.Key.Check() {
		return fmt.Errorf("erase from %s: %w", opt.Store, ErrKeyMismatch)
	}
	id := uuid.UUID(opt.Key.Pseudonym(opt.Kind, strings.TrimSpace(opt.Identifier)))
	gone, err := resolve.Erase(ctx, tx, resolve.Subject{Column: opt.Kind, UUID: id.String()}, duck.Options{Threads: opt.Threads, MemoryMB: defaultMemory(opt.Threads)})
	if err != nil {
		return err
	}
	if len(gone.Drop) == 0 {
		return ErrNobody
	}
	r.Rows, r.FilesRewritten = gone.Rows, len(gone.Drop)
	return tx.Commit(store.Change{Add: gone.Add, Drop: gone.Drop, Definitions: m.Definitions, KeyCheck: m.KeyCheck, Software: opt.Software,
		Erasure: &store.Erasure{At: r.At, AfterLoad: m.LastLoad(), Kind: opt.Kind, Rows: gone.Rows}})
}
