package main

import (
	"bytes"
	"errors"
	"io"
	"sync"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/report/internal/page"
	"hindcheck/cmd/report/internal/review"
)

// written is a review in the forms that stand in several places, each made once.
type written struct {
	json, html func() ([]byte, error)
}

func writtenOf(r *review.Review) written {
	made := func(write func(io.Writer) error) func() ([]byte, error) {
		return sync.OnceValues(func() ([]byte, error) {
			var b bytes.Buffer
			err := write(&b)
			return b.Bytes(), err
		})
	}
	w := written{json: made(func(to io.Writer) error { return command.WriteJSON(to, r) })}
	w.html = made(func(to io.Writer) error {
		data, err := w.json()
		if err != nil {
			return err
		}
		return page.FromJSON(to, data)
	})
	return w
}

// writer gives a form to what writes files.
func writer(form func() ([]byte, error)) func(io.Writer) error {
	return func(to io.Writer) error {
		data, err := form()
		if err != nil {
			return err
		}
		_, err = to.Write(data)
		return err
	}
}

// sideBySide does several things at the same time and joins what went wrong in
// the order in which they are named.
func sideBySide(work ...func() error) error {
	errs := make([]error, len(work))
	var all sync.WaitGroup
	for i, do := range work {
		all.Go(func() { errs[i] = do() })
	}
	all.Wait()
	return errors.Join(errs...)
}
