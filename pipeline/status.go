package pipeline

import (
	"fmt"
	"sort"
	"time"

	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// Status is what a store holds, from its manifest alone.
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
}

// MonthStatus counts the rows of one month of episodes.
type MonthStatus struct {
	// Month is yyyymm.
	Month    int   `json:"month"`
	Episodes int64 `json:"episodes"`
	Calls    int64 `json:"calls"`
	Checks   int64 `json:"checks"`
	Outcomes int64 `json:"outcomes"`
}

// ReadStatus reads the status of the store in dir.
func ReadStatus(dir string) (*Status, error) {
	s, err := store.Open(dir)
	if err != nil {
		return nil, fmt.Errorf("status: %w", err)
	}
	defer s.Close()
	m := s.Manifest
	st := &Status{Store: dir, Software: m.Software, DataCut: m.DataCut(), Loads: m.Loads, Uses: m.Definitions, Erasures: m.Erasures,
		Rows: map[string]int64{}, History: map[string]int64{}}
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
	for _, month := range months {
		st.Months = append(st.Months, *month)
	}
	sort.Slice(st.Months, func(i, j int) bool { return st.Months[i].Month < st.Months[j].Month })
	return st, nil
}
