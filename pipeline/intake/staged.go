package intake

import (
	"fmt"
	"os"

	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/compress"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/metadata"

	"hindcheck/pipeline/pagefile"
)

// stagedFile reads a staged part. The library reads the footer; its page reader,
// which makes a buffer, a reader and a copy for each page, took a third of the time of
// reading a row group back.
type stagedFile struct {
	in   *os.File
	meta *metadata.FileMetaData
	// bytes is memory for the pages of a row group, which all parts share.
	bytes *[]byte
}

func openStaged(path string, bytes *[]byte) (*stagedFile, error) {
	in, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	rd, err := file.NewParquetReader(in)
	if err != nil {
		_ = in.Close() // nothing was written
		return nil, err
	}
	return &stagedFile{in, rd.MetaData(), bytes}, nil
}

func (f *stagedFile) close() error { return f.in.Close() }

// groups is the number of row groups, rows that of the rows of one.
func (f *stagedFile) groups() int      { return len(f.meta.RowGroups) }
func (f *stagedFile) rows(g int) int64 { return f.meta.RowGroups[g].NumRows }

// chunk is where the pages of a column stand in the file.
type chunk struct{ from, to int64 }

func (f *stagedFile) chunk(g, i int) (c chunk, err error) {
	m := f.meta.RowGroups[g].Columns[i].MetaData
	if codec := compress.Compression(m.Codec); codec != compress.Codecs.Uncompressed {
		return c, fmt.Errorf("compression %s, expected none", codec)
	}
	c.from = m.DataPageOffset
	if d := m.DictionaryPageOffset; d != nil && *d > 0 {
		c.from = min(c.from, *d)
	}
	c.to = c.from + m.TotalCompressedSize
	return c, nil
}

// group reads a row group into columns.
func (f *stagedFile) group(g int, columns []unpacked) (n int, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("read staged rows: %v", p)
		}
	}()
	chunks := make([]chunk, len(columns))
	var all chunk
	for i := range columns {
		c, err := f.chunk(g, i)
		if err != nil {
			return 0, fmt.Errorf("read staged rows: column %s: %w", columns[i].Name, err)
		}
		if chunks[i] = c; i == 0 {
			all = c
		}
		all.from, all.to = min(all.from, c.from), max(all.to, c.to)
	}
	data, err := f.read(all, f.bytes)
	if err != nil {
		return 0, fmt.Errorf("read staged rows: %w", err)
	}
	n = int(f.rows(g))
	for i, c := range chunks {
		if err := columns[i].unpackChunk(data[c.from-all.from:c.to-all.from], n); err != nil {
			return 0, fmt.Errorf("read staged rows: column %s: %w", columns[i].Name, err)
		}
	}
	return n, nil
}

// column reads column i of a row group. Several columns may be read at a time.
func (f *stagedFile) column(g, i int, into *unpacked) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%v", p)
		}
		if err != nil {
			err = fmt.Errorf("read staged rows: column %s: %w", into.Name, err)
		}
	}()
	c, err := f.chunk(g, i)
	if err != nil {
		return err
	}
	data, err := f.read(c, &into.scratch.chunk)
	if err != nil {
		return err
	}
	return into.unpackChunk(data, int(f.rows(g)))
}

// read reads a stretch of the file into memory that is used again.
func (f *stagedFile) read(c chunk, into *[]byte) ([]byte, error) {
	*into = extend((*into)[:cap(*into)], int(c.to-c.from))
	data := (*into)[:c.to-c.from]
	_, err := f.in.ReadAt(data, c.from)
	return data, err
}

// unpackChunk decodes the pages of a column of n rows: a dictionary, if there is one,
// and one page of rows.
func (u *unpacked) unpackChunk(data []byte, n int) error {
	var dict []byte
	words := 0
	for {
		h, rest, err := pagefile.ReadHeader(data)
		if err != nil {
			return err
		}
		if h.Dictionary {
			dict, words, data = rest[:h.Packed], h.Values, rest[h.Packed:]
			continue
		}
		if h.Values != n {
			return fmt.Errorf("a page of %d rows, want %d", h.Values, n)
		}
		return u.unpack(rest[:h.Packed], parquet.Encoding(h.Encoding), n, dict, words)
	}
}
