package walk

// Filled counts the checks of a month, the vet's own among them, by state and what
// is filled.
type Filled struct {
	// Done, NotDone and Asked are those done, not done, and not left unasked.
	Done, NotDone, Asked int64
	// Of those done: with a reading, and with each of these columns.
	Reading, Observer, Setting, AnimalState, Handling int64
	// Reason is of those not done, AskedAt of those asked.
	Reason, AskedAt int64
}

// The bits of what is filled in a check; above them stands its state.
const (
	fillReading = 1 << iota
	fillObserver
	fillSetting
	fillAnimalState
	fillHandling
	fillReason
	fillAskedAt
	fillState
)

// fillBits are enough for them and a state.
const fillBits = 9

// fill packs what is filled in row i.
func (r *rows) fill(i int, state int32) int {
	return int(state)*fillState | bit(r.code.Valid[i] || r.number.Valid[i])*fillReading | bit(r.observer.Valid[i])*fillObserver | bit(r.setting.Valid[i])*fillSetting |
		bit(r.animalState.Valid[i])*fillAnimalState | bit(r.handling.Valid[i])*fillHandling | bit(r.reason.Valid[i])*fillReason | bit(r.put.Valid[i])*fillAskedAt
}

func bit(is bool) int {
	if is {
		return 1
	}
	return 0
}

// filled sums what was counted by bits.
func filled(counts *[1 << fillBits]int64) Filled {
	var f Filled
	for mask, n := range counts {
		state, with := int32(mask/fillState), func(bit int) int64 {
			if mask&bit == 0 {
				return 0
			}
			return n
		}
		if state != notAsked {
			f.Asked += n
			f.AskedAt += with(fillAskedAt)
		}
		if state != done {
			f.NotDone += n
			f.Reason += with(fillReason)
			continue
		}
		f.Done += n
		f.Reading += with(fillReading)
		f.Observer += with(fillObserver)
		f.Setting += with(fillSetting)
		f.AnimalState += with(fillAnimalState)
		f.Handling += with(fillHandling)
	}
	return f
}
