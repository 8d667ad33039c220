package main

import (
	"context"
	"fmt"
	"os"
	"slices"
	"testing"

	"hindcheck/queries"
)

func TestScratch(t *testing.T) {
	ctx := context.Background()
	a, err := queries.Open(ctx, os.Getenv("SRC"), queries.OpenOptions{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := queries.OpenPublished(ctx, os.Getenv("REL"), queries.OpenOptions{})
	if err != nil {
		t.Fatal(err)
	}
	qs, _ := queries.Questions()
	def := map[string]string{"from_month": "2025-09", "to_month": "2026-08", "mature_before": "2026-09-13T00:00:00Z", "cut": "same_day", "cluster": "animal", "finding": "capillary_refill_s", "threshold": "20", "scale": "10", "hours": "4"}
	p, _ := queries.ReadPublished(os.Getenv("REL"))
	def["mature_before"] = p.MatureBefore.Format("2006-01-02T15:04:05Z07:00")
	for _, q := range qs {
		x, err1 := a.Run(ctx, q.Name, nil, def)
		y, err2 := b.Run(ctx, q.Name, nil, def)
		if err1 != nil || err2 != nil {
			fmt.Printf("%-24s src %v | rel %v\n", q.Name, err1, err2)
			continue
		}
		f := func(t queries.Table) (out []string) {
			for _, r := range t.Rows {
				out = append(out, fmt.Sprint(r...))
			}
			slices.Sort(out)
			return
		}
		u, v := f(x), f(y)
		if slices.Equal(u, v) {
			fmt.Printf("%-24s same %d\n", q.Name, len(u))
		} else {
			k := 0
			for k < min(len(u), len(v)) && u[k] == v[k] {
				k++
			}
			fmt.Printf("%-24s DIFF %d %d\n   %.200v\n   %.200v\n", q.Name, len(u), len(v), u[min(k, len(u)-1)], func() any {
				if k < len(v) {
					return v[k]
				}
				return nil
			}())
		}
	}
}
