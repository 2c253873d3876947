package bag

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"strings"
)

// Open reads the bundle in a file; see [Read].
func Open(path string, limits Limits) (*Bag, error) {
	f := findings{file: path}
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, f.refuse(CodeMissing, "there is no such file")
	case err != nil:
		return nil, f.refuse(CodeUnreadable, "the file can't be read: %v", errors.Unwrap(err))
	case info.IsDir():
		return nil, f.refuse(CodeFolder, "this is a folder; a bundle is a zip file")
	case !info.Mode().IsRegular():
		return nil, f.refuse(CodeNoFile, "this is no ordinary file")
	}
	r, err := os.Open(path)
	if err != nil {
		return nil, f.refuse(CodeUnreadable, "the file can't be read: %v", errors.Unwrap(err))
	}
	defer r.Close()
	return Read(r, info.Size(), path, limits)
}

// Read reads a bundle of size bytes and checks all of it before it gives anything. name stands in the findings. The error is a
// [diag.List] whose codes are the constants of this package.
//
// No file of the bundle is touched on the disk. In memory a bundle takes at most its own length and that of its files, within
// the limits.
func Read(r io.ReaderAt, size int64, name string, limits Limits) (*Bag, error) {
	a := &archive{findings: findings{file: name}, r: r, size: size, limits: limits.withDefaults()}
	list, err := a.members()
	if err != nil {
		return nil, err
	}
	v := &verifier{findings: findings{file: name}, data: map[string][]byte{}}
	for _, m := range list {
		top, below, _ := strings.Cut(m.name, "/")
		v.top = top
		if m.isFolder() {
			continue
		}
		if v.data[below], err = a.unpack(m); err != nil {
			return nil, err
		}
	}
	return v.bag()
}
