package pipeline

import (
	"context"
	"fmt"
	"sort"
	"strconv"
	"strings"
	"time"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// Status is what a store holds.
type Status struct {
	Store    string            `json:"store"`
	Software string            `json:"software"`
	DataCut  time.Time         `json:"data_cut"`
	Months   []MonthStatus     `json:"months"`
	Loads    []store.Load      `json:"loads"`
	SetAside int64             `json:"set_aside"`
	Bytes    int64             `json:"bytes"`
	Uses     store.Definitions `json:"definitions"`
	Rows     map[string]int64  `json:"rows"`
	History  map[string]int64  `json:"superseded_rows"`
	Erasures []store.Erasure   `json:"erasures"`
	// Links counts the outcomes by what ties them to an episode: call, animal,
	// or unlinked.
	Links map[string]int64 `json:"links"`
	// Unusual adds up the readings outside the usual range of all loads; one
	// that a correction repeated is counted again.
	Unusual []store.Unusual `json:"unusual"`
}

// MonthStatus counts the rows of one month of episodes.
type MonthStatus struct {
	// Month is yyyymm.
	Month    int   `json:"month"`
	Episodes int64 `json:"episodes"`
	Calls    int64 `json:"calls"`
	Checks   int64 `json:"checks"`
	Outcomes int64 `json:"outcomes"`
	// Verified episodes have a report of what was found, by whatever route.
	Verified int64 `json:"verified"`
}

// ReadStatus reads the status of the store in dir.
func ReadStatus(ctx context.Context, dir string) (*Status, error) {
	s, err := store.Open(dir)
	if err != nil {
		return nil, fmt.Errorf("status: %w", err)
	}
	defer s.Close()
	m := s.Manifest
	st := &Status{Store: dir, Software: m.Software, DataCut: m.DataCut(), Loads: m.Loads, Uses: m.Definitions, Erasures: m.Erasures,
		Rows: map[string]int64{}, History: map[string]int64{}, Links: map[string]int64{}}
	for _, l := range m.Loads {
		st.Unusual = store.AddUnusual(st.Unusual, l.Unusual...)
	}
	months := map[int]*MonthStatus{}
	for _, f := range m.Files {
		st.Bytes += f.Bytes
		switch f.Part {
		case store.Aside:
			st.SetAside += f.Rows
		case store.History:
			if f.Table != resolve.AsideTable { // refused once and no longer: never a record
				st.History[f.Table] += f.Rows
			}
		case store.Current:
			st.Rows[f.Table] += f.Rows
		case store.Cases:
			st.Rows["cases"] += f.Rows
		}
		if f.Month == 0 || f.Part == store.History {
			continue
		}
		month, ok := months[f.Month]
		if !ok {
			month = &MonthStatus{Month: f.Month}
			months[f.Month] = month
		}
		switch f.Part + "/" + f.Table {
		case store.Cases + "/":
			month.Episodes += f.Rows
		case store.Current + "/calls":
			month.Calls += f.Rows
		case store.Current + "/checks":
			month.Checks += f.Rows
		case store.Current + "/outcomes":
			month.Outcomes += f.Rows
		}
	}
	if err := st.verified(ctx, s, months); err != nil {
		return nil, fmt.Errorf("status: %w", err)
	}
	for _, month := range months {
		st.Months = append(st.Months, *month)
	}
	sort.Slice(st.Months, func(i, j int) bool { return st.Months[i].Month < st.Months[j].Month })
	return st, nil
}

// verified counts what the manifest does not know: episodes with a report, and
// the links of outcomes.
func (st *Status) verified(ctx context.Context, s *store.Snapshot, months map[int]*MonthStatus) error {
	db, err := duck.Open(ctx, duck.Options{})
	if err != nil {
		return err
	}
	defer db.Close()
	count := func(paths []string, query string, each func(key string, n int64)) error {
		if len(paths) == 0 {
			return nil
		}
		rows, err := db.QueryContext(ctx, strings.Replace(query, "$FILES", duck.FileList(paths), 1))
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var key string
			var n int64
			if err := rows.Scan(&key, &n); err != nil {
				return err
			}
			each(key, n)
		}
		return rows.Err()
	}
	err = count(s.Paths(store.Cases, ""), `SELECT month::VARCHAR, count(*) FROM read_parquet($FILES, hive_partitioning = false) WHERE route > 0 GROUP BY month`,
		func(month string, n int64) {
			if at, err := strconv.Atoi(month); err == nil && months[at] != nil {
				months[at].Verified = n
			}
		})
	if err != nil {
		return err
	}
	return count(s.Paths(store.Current, "outcomes"), `SELECT linked_by, count(*) FROM read_parquet($FILES, hive_partitioning = false) GROUP BY linked_by`,
		func(how string, n int64) { st.Links[how] = n })
}
