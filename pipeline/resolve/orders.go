package resolve

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/lanes"
)

// order is what a query gives, in its order, in a file that lasts until it is closed.
//
// The driver holds the whole result of a query outside of what DuckDB may take: of 1.7
// million calls 70 MB, and as much for the next month, whose order is found meanwhile.
// A file is written while it is sorted, and read a batch at a time, by columns, in a
// fraction of the time that scanning rows takes.
type order struct {
	*lanes.Reader
	path   string
	closed bool
}

// ordered asks a query.
func (r *Resolver) ordered(ctx context.Context, name, query string) (*order, error) {
	path := filepath.Join(r.tx.Staging(), "order-"+name+".parquet")
	if err := r.exec(ctx, "COPY ("+query+") TO "+duck.Quote(path)+" (FORMAT parquet, COMPRESSION uncompressed)"); err != nil {
		return nil, fmt.Errorf("order %s: %w", name, err)
	}
	rows, err := lanes.Open(path)
	if err != nil {
		return nil, fmt.Errorf("order %s: %w", name, err)
	}
	o := &order{Reader: rows, path: path}
	r.orders = append(r.orders, o)
	return o, nil
}

// Next is that of the reader; at the end the order is closed.
func (o *order) Next(ctx context.Context) (n int, err error) {
	if o.closed {
		return 0, nil
	}
	if n, err = o.Reader.Next(ctx); n == 0 && err == nil {
		err = o.Close()
	}
	return n, err
}

// Close ends the reading and takes the file away; closing it twice does nothing.
func (o *order) Close() error {
	if o.closed {
		return nil
	}
	o.closed = true
	o.Reader.Close()
	return os.Remove(o.path)
}

// closeOrders closes those that were not read to their end.
func (r *Resolver) closeOrders() (err error) {
	for _, o := range r.orders {
		err = errors.Join(err, o.Close())
	}
	r.orders = nil
	return err
}
