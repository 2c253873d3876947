// Package atomicfile writes a file wholly or not at all.
//
// The bytes go to a temporary file in the folder of the target, are pushed to the disk (fsync),
// and take the target's name by a rename; then the folder is pushed to the disk too. POSIX
// (IEEE Std 1003.1-2017, rename) asks that a rename replaces the target at one moment, so a reader
// sees the old bytes or the new ones, and a kill or a full disk leaves the old file as it was.
//
// A killed process leaves its temporary file behind. Its name, ".NAME.tmp-" and 16 hexadecimal
// digits, tells it apart, and [Sweep] removes it. While it is being written the file is locked
// (flock), so a sweep by another process passes it by.
//
// Limits: the promise is that of the file system below; network file systems may break it. If the
// target is a symbolic link, the link is replaced and not the file it points to. Where flock is
// missing (Windows), a sweep takes leftovers only after a day.
package atomicfile

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// File is what a [Pending] file needs of the file below it.
type File interface {
	io.Writer
	Sync() error
	Close() error
}

// Option changes how a file is written.
type Option func(*settings)

type settings struct {
	perm fs.FileMode
	wrap func(File) File
}

// Perm sets the permission bits of the new file, before the umask. The default is 0o644.
func Perm(perm fs.FileMode) Option {
	return func(s *settings) { s.perm = perm }
}

// Through sends every call on the temporary file through what wrap gives: a test makes writing
// fail with it, as a full disk does.
func Through(wrap func(File) File) Option {
	return func(s *settings) { s.wrap = wrap }
}

// WriteFile replaces the file at path by data, wholly or not at all. The permission bits perm are
// those of the new file, before the umask.
func WriteFile(path string, data []byte, perm fs.FileMode, opts ...Option) error {
	p, err := Create(path, append([]Option{Perm(perm)}, opts...)...)
	if err != nil {
		return err
	}
	defer p.Cleanup()
	if _, err := p.Write(data); err != nil {
		return err
	}
	return p.Commit()
}

// Pending is a file that does not have its name yet. It is for one goroutine.
type Pending struct {
	path string // the name it will get
	temp string
	raw  *os.File
	file File
	done bool  // committed or cleaned up
	err  error // the first error of Write: such a file never gets its name
}

// Create starts a file that takes the name path at [Pending.Commit]. The folder must exist. Always
// defer [Pending.Cleanup].
func Create(path string, opts ...Option) (*Pending, error) {
	set := settings{perm: 0o644}
	for _, o := range opts {
		o(&set)
	}
	raw, err := createLocked(path, set.perm)
	if err != nil {
		return nil, explain("creating a temporary file for "+path, err)
	}
	p := &Pending{path: path, temp: raw.Name(), raw: raw, file: raw}
	if set.wrap != nil {
		p.file = set.wrap(raw)
	}
	return p, nil
}

// createLocked makes the temporary file and locks it. A sweep can take the file between the two
// steps; then another one is made.
func createLocked(path string, perm fs.FileMode) (*os.File, error) {
	const tries = 100
	for range tries {
		f, err := os.OpenFile(tempName(path), os.O_CREATE|os.O_EXCL|os.O_RDWR, perm)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		locked, err := TryLock(f)
		if err == nil && locked && stillThere(f) {
			return f, nil
		}
		f.Close()
		os.Remove(f.Name())
		if err != nil {
			return nil, err
		}
	}
	return nil, fmt.Errorf("no free temporary name after %d tries", tries)
}

func stillThere(f *os.File) bool {
	mine, err1 := f.Stat()
	there, err2 := os.Lstat(f.Name())
	return err1 == nil && err2 == nil && os.SameFile(mine, there)
}

// Write appends to the file. After an error the file can only be cleaned up.
func (p *Pending) Write(data []byte) (int, error) {
	if p.err != nil {
		return 0, p.err
	}
	n, err := p.file.Write(data)
	if err != nil {
		p.err = explain("writing "+p.path, err)
	}
	return n, p.err
}

// Commit gives the file its name. On an error the temporary file is removed and what stood under
// the name before is untouched.
func (p *Pending) Commit() error {
	if p.err != nil {
		return p.err
	}
	if p.done {
		return fmt.Errorf("writing %s: already committed or cleaned up", p.path)
	}
	defer p.Cleanup()
	// The bytes must be on the disk before the name is: a rename that survives a power cut without
	// its bytes leaves an empty file (Pillai et al., "All file systems are not created equal",
	// OSDI 2014, section 4).
	if err := p.file.Sync(); err != nil {
		return explain("pushing "+p.path+" to the disk", err)
	}
	if err := p.closeAndRename(); err != nil {
		return explain("giving "+p.path+" its name", err)
	}
	p.done = true
	return SyncDir(filepath.Dir(p.path))
}

// closeAndRename renames first where an open file can be renamed, since closing gives up the lock
// that keeps a sweep away.
func (p *Pending) closeAndRename() error {
	if !renameWhileOpen {
		if err := p.file.Close(); err != nil {
			return err
		}
		return os.Rename(p.temp, p.path)
	}
	if err := os.Rename(p.temp, p.path); err != nil {
		return err
	}
	p.file.Close() // everything is on the disk since Sync
	return nil
}

// Cleanup removes the temporary file if it has not got its name. It may be called any number of
// times, also after Commit.
func (p *Pending) Cleanup() {
	if p.done {
		return
	}
	p.done = true
	os.Remove(p.temp)
	p.raw.Close()
}

// SyncDir pushes the names in a folder to the disk. A file system that cannot do so for folders is
// not an error.
func SyncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("opening the folder %s: %w", dir, err)
	}
	defer d.Close()
	err = d.Sync()
	if err == nil || errors.Is(err, syscall.EINVAL) || errors.Is(err, errors.ErrUnsupported) || !renameWhileOpen {
		return nil
	}
	return explain("pushing the folder "+dir+" to the disk", err)
}

const tempMark = ".tmp-"

func tempName(path string) string {
	var b [8]byte
	rand.Read(b[:]) // never fails since Go 1.24
	dir, name := filepath.Split(path)
	return filepath.Join(dir, "."+name+tempMark+hex.EncodeToString(b[:]))
}

// explain says what was being done and, if the disk is full, what to do.
func explain(doing string, err error) error {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		return fmt.Errorf("%s: the disk is full: %w", doing, err)
	}
	return fmt.Errorf("%s: %w", doing, err)
}
