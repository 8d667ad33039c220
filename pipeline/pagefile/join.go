package pagefile

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/metadata"
)

// Join writes the row groups of Parquet files of one schema, one file behind the
// other, into a file that must not exist. Pages are copied as they are; columns of
// a row group whose pages are the same get one set of them. Bloom filters and page
// indexes are left behind: no file of ours has them.
func Join(path string, parts ...string) (err error) {
	out, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o666)
	if err != nil {
		return err
	}
	defer func() {
		if err = errors.Join(err, out.Close()); err != nil {
			err = errors.Join(fmt.Errorf("join into %s: %w", filepath.Base(path), err), os.Remove(path))
		}
	}()
	f := begin(path, out)
	if _, err := f.out.Write([]byte(magic)); err != nil {
		return err
	}
	var all *metadata.FileMetaData
	for _, p := range parts {
		m, err := f.copy(p)
		if err != nil {
			return fmt.Errorf("%s: %w", filepath.Base(p), err)
		}
		if all == nil {
			all = m
		} else if err := all.AppendRowGroups(m); err != nil {
			return fmt.Errorf("%s: %w", filepath.Base(p), err)
		}
	}
	if all == nil {
		return errors.New("no files")
	}
	for i, g := range all.RowGroups {
		ordinal := int16(i)
		g.Ordinal = &ordinal
	}
	if err := footer(f.out, all); err != nil {
		return err
	}
	return f.out.Flush()
}

// copy appends the row groups of a file and returns what they are described by in
// their new place.
func (f *File) copy(path string) (*metadata.FileMetaData, error) {
	in, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	rd, err := file.NewParquetReader(in)
	if err != nil {
		return nil, errors.Join(err, in.Close())
	}
	defer func() { _ = rd.Close() }() // in as well
	m := rd.MetaData()
	for _, g := range m.RowGroups {
		from := f.out.at
		f.placed = f.placed[:0]
		for _, c := range g.Columns {
			d := c.MetaData
			was := d.DataPageOffset
			if d.DictionaryPageOffset != nil && *d.DictionaryPageOffset > 0 {
				was = min(was, *d.DictionaryPageOffset)
			}
			f.chunk = grown(f.chunk, int(d.TotalCompressedSize))
			if _, err := in.ReadAt(f.chunk, was); err != nil {
				return nil, err
			}
			at, err := f.place(f.chunk)
			if err != nil {
				return nil, err
			}
			if d.DataPageOffset += at - was; d.DictionaryPageOffset != nil && *d.DictionaryPageOffset > 0 {
				*d.DictionaryPageOffset += at - was
			}
			d.IndexPageOffset, d.BloomFilterOffset, d.BloomFilterLength = nil, nil, nil
			c.OffsetIndexOffset, c.OffsetIndexLength, c.ColumnIndexOffset, c.ColumnIndexLength = nil, nil, nil, nil
			c.FileOffset = at
		}
		size := f.out.at - from
		g.FileOffset, g.TotalCompressedSize = &from, &size
	}
	return m, nil
}

// grown returns a slice of length n, in the memory of s if it is large enough.
func grown(s []byte, n int) []byte {
	if cap(s) < n {
		return make([]byte, n)
	}
	return s[:n]
}
