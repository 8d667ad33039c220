package tabular

import "io"

// OpenText opens a file as UTF-8 text, unpacked (gzip, zstd) and decoded, for a
// caller that looks at an export before anything is known of it. The error is
// a *Problem when the file is no text.
func OpenText(path, encoding string) (io.ReadCloser, error) {
	return openAsText(openText(path, Format{Encoding: encoding}))
}

// openAsText keeps a nil file from becoming an interface that is not nil.
func openAsText(t *textFile, err error) (io.ReadCloser, error) {
	if err != nil {
		return nil, err
	}
	return t, nil
}
