// Package actions reads the file of actions that people agree on at reviews
// and edit between them. Nothing else writes it, but for the empty form that
// Start lays down; a review carries forward what it holds.
package actions

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"hindcheck/pipeline/strict"
)

// States of an action.
const (
	Open    = "open"
	Done    = "done"
	Dropped = "dropped"
)

// Action is one thing that a review agreed on.
type Action struct {
	// ID names the action for as long as it stands in the file.
	ID   string `json:"id"`
	What string `json:"what"`
	// Owner is a role or pseudonym, never a person's name.
	Owner string `json:"owner"`
	// Due is the last day, UTC.
	Due    time.Time `json:"due"`
	Status string    `json:"status"`
	// Note is empty where nothing was noted.
	Note string `json:"note"`
}

// Read reads the actions of a file in their order; a file that is not there
// holds none. The error is strict.Problems with every mistake.
func Read(path string) ([]Action, error) {
	data, err := strict.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return Parse(path, data)
}

// Parse reads the text of an actions file; file is its name in messages.
func Parse(file string, data []byte) ([]Action, error) {
	doc, top := strict.Parse(file, data)
	m := top.Map("actions")
	var out []Action
	seen := map[string]int{}
	n := m.Need("actions")
	if !n.IsList() {
		if word, _ := n.Literal(); n.Exists() && word != "none" {
			n.Fail("a list of actions, or none", strict.Quote(word), "write one line with a dash for each, or none")
		}
		return out, doc.Err()
	}
	for _, item := range n.List() {
		a := read(item)
		if line, ok := seen[a.ID]; ok && a.ID != "" {
			item.Fail("an id of its own", fmt.Sprintf("%s, which stands on line %d", a.ID, line), "give it another id")
		}
		seen[a.ID] = item.Line()
		out = append(out, a)
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return out, nil
}

func read(n strict.Node) Action {
	m := n.Map("id", "what", "owner", "due", "status", "note")
	a := Action{ID: m.Need("id").ID(), What: m.Need("what").Text(), Owner: m.Need("owner").Text(), Due: m.Need("due").Date(),
		Status: m.Need("status").Choice(Open, Done, Dropped)}
	if note := m.Get("note"); note.Exists() {
		a.Note = note.Text()
	}
	if a.Status == Dropped && a.Note == "" && m.Get("status").Exists() {
		m.Get("status").Fail("a note that says why it was dropped", "none", "add note: with the reason")
	}
	return a
}

// form is the file that Start lays down.
const form = `# Actions agreed on at the monthly reviews. People edit this file; report reads it
# and carries open actions into the next review. Owners are roles, never names.
#
# actions:
#   - id: gum_colour_first
#     what: Ask for the gum colour first when an animal has collapsed.
#     owner: protocol lead
#     due: 2026-10-31
#     status: open          # open, done or dropped (then the note says why)
#     note: Waits for the veterinary lead's signature.
actions: none
`

// Start lays down an empty form where there is no file yet.
func Start(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("actions file: %w", err)
	}
	_, err = f.WriteString(form)
	return errors.Join(err, f.Close())
}
