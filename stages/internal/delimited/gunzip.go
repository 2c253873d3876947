package delimited

import (
	"bufio"
	"compress/flate"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
)

// MaxUnpackedBytes is how much a gzip file may unpack to.
const MaxUnpackedBytes = 8 << 30

// ErrUnpackedTooLarge is the error of a gzip file that unpacks to more than the limit.
var ErrUnpackedTooLarge = errors.New("the gzip file unpacks to too much")

// Gunzip unpacks gzip (RFC 1952), known by its first bytes and not by a name, and hands on anything else as it is. At
// most limit bytes are unpacked; one more is an ErrUnpackedTooLarge, which protects from a small file that unpacks
// without end. MaxUnpackedBytes is a fit limit. A file that was cut or damaged gives an error in words on reading.
func Gunzip(r io.Reader, limit int64) (io.Reader, error) {
	in := bufio.NewReaderSize(r, 64<<10)
	magic, err := in.Peek(2)
	switch {
	case err != nil && err != io.EOF:
		return nil, err
	case len(magic) < 2 || magic[0] != 0x1f || magic[1] != 0x8b:
		return in, nil
	}
	z, err := gzip.NewReader(in)
	if err != nil {
		return nil, inWords(err)
	}
	return &unpacked{z: z, left: limit, limit: limit}, nil
}

type unpacked struct {
	z           *gzip.Reader
	left, limit int64
}

// Read reads up to the limit, and one byte more to tell a file of just that size from a larger one.
func (u *unpacked) Read(p []byte) (int, error) {
	if int64(len(p)) > u.left+1 {
		p = p[:u.left+1]
	}
	n, err := u.z.Read(p)
	if int64(n) > u.left {
		n = int(u.left)
		u.left = 0
		return n, fmt.Errorf("%w: over %d bytes; split it", ErrUnpackedTooLarge, u.limit)
	}
	u.left -= int64(n)
	return n, inWords(err)
}

// inWords says what the errors of the unpacking mean for the file.
func inWords(err error) error {
	var corrupt flate.CorruptInputError
	switch {
	case err == nil || err == io.EOF:
		return err
	case errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("the gzip file is cut: copy or download it again (%w)", err)
	case errors.Is(err, gzip.ErrChecksum), errors.Is(err, gzip.ErrHeader), errors.As(err, &corrupt):
		return fmt.Errorf("the gzip file is damaged: copy or download it again (%w)", err)
	}
	return err
}
