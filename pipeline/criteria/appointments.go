package criteria

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"

	"hindcheck/pipeline/strict"
)

// Appointments is what the practices behind a line can see, by site.
type Appointments struct {
	File string `json:"-"`
	// ID, Title and Owner say what the numbers are and who gave them.
	ID, Title, Owner string
	// NightFrom and NightTo are local hours, 0 to 23; a night that begins at 20
	// and ends at 8 belongs to the day on which it began.
	NightFrom, NightTo int
	// Sites in the order of the file.
	Sites []Site
}

// Site is how many animals a site's practices can see in a day and in a night.
type Site struct {
	Site       string
	Day, Night int
}

// DefaultNight is when the night begins and ends where no file says so.
const (
	DefaultNightFrom = 20
	DefaultNightTo   = 8
)

// LoadAppointments reads an appointments file. The error is strict.Problems with
// every mistake.
func LoadAppointments(path string) (*Appointments, error) {
	data, err := strict.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return ParseAppointments(path, data)
}

// ParseAppointments reads the text of an appointments file; file is its name in
// messages.
func ParseAppointments(file string, data []byte) (*Appointments, error) {
	doc, top := strict.Parse(file, data)
	m := top.Map("appointments", "title", "owner", "night", "sites")
	a := &Appointments{File: file, ID: m.Need("appointments").ID(), Title: m.Need("title").Text(), Owner: m.Need("owner").Text(),
		NightFrom: DefaultNightFrom, NightTo: DefaultNightTo}
	if n := m.Get("night"); n.Exists() {
		night := n.Map("from", "to")
		a.NightFrom, a.NightTo = night.Need("from").Int(0, 23), night.Need("to").Int(0, 23)
		if night.Has("from") && night.Has("to") && a.NightFrom == a.NightTo {
			n.Fail("two different hours", "the same hour twice", "correct one")
		}
	}
	n := m.Need("sites")
	sites := n.AnyMap()
	for _, name := range sites.Keys() {
		s := sites.Get(name).Map("day", "night")
		a.Sites = append(a.Sites, Site{Site: name, Day: s.Need("day").Int(0, 100_000), Night: s.Need("night").Int(0, 100_000)})
	}
	if n.Exists() && len(sites.Keys()) == 0 {
		n.Fail("at least one site", "none", "write a line such as north: {day: 12, night: 3}")
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return a, nil
}

// Of returns what a site has; false if the file does not name it.
func (a *Appointments) Of(site string) (Site, bool) {
	for _, s := range a.Sites {
		if s.Site == site {
			return s, true
		}
	}
	return Site{}, false
}

// Hash returns the SHA-256, in hexadecimal, of all that the file says.
func (a *Appointments) Hash() string {
	data, err := json.Marshal(a)
	if err != nil { // no field can fail
		panic(err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
