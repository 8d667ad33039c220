package demo

import "strconv"

// row builds one line of an export in a buffer that is used again.
type row struct {
	b     []byte
	sep   byte
	comma bool // decimal comma
	// piece shifts the numbers of calls, outcomes, animals and owners.
	piece int
}

func (r *row) reset() { r.b = r.b[:0] }

// text adds a cell. The line's words never hold a delimiter or a quote.
func (r *row) text(s string) {
	r.b = append(r.b, s...)
	r.b = append(r.b, r.sep)
}

func (r *row) whole(n int64) {
	r.b = strconv.AppendInt(r.b, n, 10)
	r.b = append(r.b, r.sep)
}

// numbersOfAPiece are more than a piece of any size uses.
const numbersOfAPiece = 1_000_000_000_000

// key adds an identifier with the letter of its system. Advisors, N, answer the
// calls of every piece.
func (r *row) key(letter byte, n int64) {
	if letter != 'N' {
		n += int64(r.piece) * numbersOfAPiece
	}
	r.b = append(r.b, letter)
	r.whole(n)
}

// decimal adds a number with at most the given decimals, none if whole.
func (r *row) decimal(v float64, decimals int) {
	pow := int64(1)
	for range decimals {
		pow *= 10
	}
	n := int64(v*float64(pow) + 0.5)
	r.b = strconv.AppendInt(r.b, n/pow, 10)
	if rest := n % pow; rest != 0 {
		point := byte('.')
		if r.comma {
			point = ','
		}
		r.b = append(r.b, point)
		for pow /= 10; pow > 0 && rest > 0; pow /= 10 {
			r.b = append(r.b, byte('0'+rest/pow))
			rest %= pow
		}
	}
	r.b = append(r.b, r.sep)
}

func two(b []byte, n int) []byte { return append(b, byte('0'+n/10%10), byte('0'+n%10)) }

// localMinute adds dd.mm.yyyy hh:mm of a wall clock.
func (r *row) localMinute(local int64) {
	y, m, d := civil(local)
	s := int(((local % 86400) + 86400) % 86400)
	b := append(two(r.b, d), '.')
	b = append(two(b, m), '.')
	b = append(two(two(b, y/100), y), ' ')
	b = append(two(b, s/3600), ':')
	r.b = append(two(b, s/60%60), r.sep)
}

// isoTime adds a moment with its offset from UTC.
func (r *row) isoTime(unix, offset int64) {
	local := unix + offset
	y, m, d := civil(local)
	s := int(((local % 86400) + 86400) % 86400)
	b := append(two(two(r.b, y/100), y), '-')
	b = append(two(b, m), '-')
	b = append(two(b, d), 'T')
	b = append(two(b, s/3600), ':')
	b = append(two(b, s/60%60), ':')
	b = append(two(b, s%60), '+')
	b = append(two(b, int(offset/3600)), ':')
	r.b = append(two(b, int(offset/60%60)), r.sep)
}

// isoDay adds a day counted from 1970.
func (r *row) isoDay(day int64) {
	y, m, d := civil(day * 86400)
	b := append(two(two(r.b, y/100), y), '-')
	b = append(two(b, m), '-')
	r.b = append(two(b, d), r.sep)
}

// end turns the last separator into the end of the line.
func (r *row) end() []byte {
	r.b[len(r.b)-1] = '\n'
	return r.b
}
