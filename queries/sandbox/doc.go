// Package sandbox runs one SELECT of the user's own over the views of a store
// or of a published dataset, and nothing else.
//
// No single fence is trusted; each holds if the others fall:
//
//  1. The text goes through the engine's own parser, and the tree that comes
//     back is read against lists of what is known to be harmless: one SELECT,
//     tables from our views and from its own WITH, three table functions,
//     scalar functions from allowed.txt (check.go). Text is never searched for
//     patterns.
//  2. The engine runs in memory without extensions, without a folder to spill
//     to, without access to any file but those that the views name, and with
//     its settings locked (seal.go).
//  3. The statement is prepared by the one way of the driver that refuses a
//     second statement, and its type must be SELECT (run.go).
//  4. All of this happens in a child process with an empty environment, that
//     cannot write files and whose address space is bounded (child.go,
//     limits_linux.go); the parent kills it at its deadline (parent.go).
//
// A result becomes visible only when it is complete. Start reading at Run.
package sandbox
