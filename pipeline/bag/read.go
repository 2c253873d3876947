package bag

import (
	"archive/zip"
	"fmt"
	"io"
	"os"
	"strings"
)

// Limits is how much of a bundle is read. A zero stands for the default.
type Limits struct {
	Bytes   int64 // unpacked, all files together: 256 MiB
	Members int   // 1000
}

// Open reads the bundle in a file; see [Read].
func Open(path string, limits Limits) (*Bag, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	return Read(f, info.Size(), path, limits)
}

// Read reads a bundle of size bytes and checks all of it. name stands in the findings.
func Read(r io.ReaderAt, size int64, name string, limits Limits) (*Bag, error) {
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, err
	}
	b := &Bag{}
	for _, m := range z.File {
		top, rest, _ := strings.Cut(m.Name, "/")
		b.name = top
		rc, err := m.Open()
		if err != nil {
			return nil, err
		}
		data, err := io.ReadAll(rc)
		if err != nil {
			return nil, err
		}
		if below, ok := strings.CutPrefix(rest, payloadDir); ok {
			b.payload = append(b.payload, File{below, data})
		} else {
			b.tags = append(b.tags, File{rest, data})
		}
		if rest == infoFile {
			for line := range strings.Lines(string(data)) {
				label, value, _ := strings.Cut(strings.TrimSpace(line), ": ")
				b.fields = append(b.fields, Field{label, value})
			}
		}
	}
	b.payload = sorted(b.payload)
	b.identity = Identity(b.payload)
	if b.identity != b.Info(IdentifierLabel) {
		return nil, fmt.Errorf("%s: wrong identity", name)
	}
	return b, nil
}
