// Package repository holds tests of rules that no single package can keep: which
// room may import which, who may write to the terminal, and what a checkout
// holds. It has no code of its own.
package repository
