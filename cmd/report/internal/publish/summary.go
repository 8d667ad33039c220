package publish

import (
	"fmt"
	"io"
	"path/filepath"
)

// Summary writes what a release came to, in a few lines.
func Summary(out io.Writer, r *Result) error {
	k := r.Risk
	_, err := fmt.Fprintf(out, `%d episodes published, at least %d persons behind every combination (asked: %d)
greatest chance to pick out a person's record: 1 in %d; %.1f %% of the weighted information lost
%d of %d repeated episodes of an animal keep its key
`, k.Records, k.ReachedK, k.K, k.ReachedK, 100*k.Loss, k.KeptLinks, k.RepeatedEpisodes)
	if err != nil {
		return err
	}
	for _, d := range r.Errors.Sections {
		if _, err := fmt.Fprintf(out, "%s: %d of %d figures of the review the same, %d not estimable, largest difference %g\n", d.Section, d.Same, d.Figures, d.Lost, d.Largest); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintf(out, "read first: %s and %s\n", filepath.Join(r.Dir, "README.md"), filepath.Join(r.Dir, "risk.html"))
	return err
}
