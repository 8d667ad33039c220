package queries

// SetLong has questions asked a month at a time, as on a long line.
func (d *DB) SetLong(long bool) { d.long = long }

// ReadViews has every question read the views, whatever its months.
func (d *DB) ReadViews() { d.stored = nil }
