package sandbox

import "time"

// Request is what the child process is asked to do.
type Request struct {
	// Store is the folder of the store, as a full path; AsOf shows it as it was
	// after that load, 0 at present.
	Store string
	AsOf  int
	// Data is the folder of a published dataset, which is read instead of a
	// store if it is given.
	Data string
	// Text is one SELECT. Empty lists the views instead, as JSON.
	Text string
	// Format is one of Formats.
	Format string
	// Threads of 0 uses all processors; MemoryMB of 0 means 1,024.
	Threads, MemoryMB int
	// Limit is how long the child may take; 0 means half a minute.
	Limit time.Duration
}

// defaultLimit is long for a count over ten million episodes, and short for
// somebody who forgot a condition of a join.
const (
	defaultLimit    = 30 * time.Second
	defaultMemoryMB = 1024
)

func (r Request) withDefaults() Request {
	if r.Limit <= 0 {
		r.Limit = defaultLimit
	}
	if r.MemoryMB <= 0 {
		r.MemoryMB = defaultMemoryMB
	}
	if r.Format == "" {
		r.Format = "text"
	}
	return r
}

// Exit statuses of the child. A crash of the Go runtime has 2, so that number
// is not used.
const (
	childDone    = 0
	childRefused = 10
	childFailed  = 11
)
