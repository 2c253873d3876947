package atomicfile_test

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/atomicfile"
)

// small is a disk with room for so many bytes.
type small struct {
	atomicfile.File
	room int
}

func (s *small) Write(p []byte) (int, error) {
	if len(p) > s.room {
		n, _ := s.File.Write(p[:s.room])
		s.room = 0
		return n, &os.PathError{Op: "write", Path: "x", Err: syscall.ENOSPC}
	}
	s.room -= len(p)
	return s.File.Write(p)
}

type unsynced struct{ atomicfile.File }

func (unsynced) Sync() error { return syscall.EIO }

func names(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

func TestWriteFileReplaces(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.txt")
	for _, text := range []string{"first", "second, longer", ""} {
		require.NoError(t, atomicfile.WriteFile(path, []byte(text), 0o600))
		got, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, text, string(got))
	}
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, fs.FileMode(0o600), info.Mode().Perm())
	assert.Equal(t, []string{"a.txt"}, names(t, dir))
}

func TestFailedWriteLeavesTheOldFile(t *testing.T) {
	for _, tt := range []struct {
		name string
		wrap func(atomicfile.File) atomicfile.File
		want []string
		is   error
	}{
		{"disk full", func(f atomicfile.File) atomicfile.File { return &small{f, 4} },
			[]string{"writing ", "a.txt: the disk is full"}, syscall.ENOSPC},
		{"fsync fails", func(f atomicfile.File) atomicfile.File { return unsynced{f} },
			[]string{"pushing ", "a.txt to the disk"}, syscall.EIO},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "a.txt")
			require.NoError(t, os.WriteFile(path, []byte("old"), 0o644))
			err := atomicfile.WriteFile(path, []byte("new bytes"), 0o644, atomicfile.Through(tt.wrap))
			require.ErrorIs(t, err, tt.is)
			for _, part := range tt.want {
				assert.ErrorContains(t, err, part)
			}
			got, readErr := os.ReadFile(path)
			require.NoError(t, readErr)
			assert.Equal(t, "old", string(got))
			assert.Equal(t, []string{"a.txt"}, names(t, dir))
		})
	}
}

// /dev/full is a real full disk, where there is one.
func TestDevFullErrorIsTold(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("no /dev/full here")
	}
	defer full.Close()
	path := filepath.Join(t.TempDir(), "a")
	err = atomicfile.WriteFile(path, bytes.Repeat([]byte("x"), 100), 0o644,
		atomicfile.Through(func(f atomicfile.File) atomicfile.File { return full }))
	assert.ErrorContains(t, err, "the disk is full")
	assert.NoFileExists(t, path)
}

func TestMissingFolderIsTold(t *testing.T) {
	err := atomicfile.WriteFile(filepath.Join(t.TempDir(), "no", "a"), nil, 0o644)
	require.ErrorIs(t, err, fs.ErrNotExist)
	assert.ErrorContains(t, err, "creating a temporary file for ")
}

func TestPendingLifeCycle(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a")

	p, err := atomicfile.Create(path)
	require.NoError(t, err)
	_, err = p.Write([]byte("x"))
	require.NoError(t, err)
	assert.NoFileExists(t, path, "the name comes with Commit")
	p.Cleanup()
	p.Cleanup()
	assert.Empty(t, names(t, dir))
	require.Error(t, p.Commit(), "a cleaned-up file can't be committed")
	assert.NoFileExists(t, path)

	p, err = atomicfile.Create(path)
	require.NoError(t, err)
	_, err = p.Write([]byte("y"))
	require.NoError(t, err)
	require.NoError(t, p.Commit())
	p.Cleanup()
	assert.FileExists(t, path, "Cleanup after Commit does nothing")
}

func TestWriteErrorSticks(t *testing.T) {
	dir := t.TempDir()
	p, err := atomicfile.Create(filepath.Join(dir, "a"), atomicfile.Through(func(f atomicfile.File) atomicfile.File { return &small{f, 0} }))
	require.NoError(t, err)
	defer p.Cleanup()
	_, first := p.Write([]byte("x"))
	require.Error(t, first)
	_, second := p.Write(nil)
	require.Error(t, second)
	require.Error(t, p.Commit(), "a file with a hole never gets its name")
	assert.NoFileExists(t, filepath.Join(dir, "a"))
}

func TestSweepTakesOnlyTheDead(t *testing.T) {
	dir := t.TempDir()
	dead := ".a.txt.tmp-0123456789abcdef"
	for _, name := range []string{dead, "a.txt", ".hidden", ".a.tmp-12", "b.tmp-0123456789abcdef"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), nil, 0o644))
	}
	require.NoError(t, os.Mkdir(filepath.Join(dir, ".d.tmp-0123456789abcdef"), 0o755))
	live, err := atomicfile.Create(filepath.Join(dir, "live"))
	require.NoError(t, err)
	defer live.Cleanup()

	removed, err := atomicfile.Sweep(dir)
	require.NoError(t, err)
	assert.Equal(t, []string{dead}, removed)
	require.NoError(t, live.Commit(), "a file being written outlives a sweep")
	for _, name := range []string{"a.txt", ".hidden", ".a.tmp-12", "b.tmp-0123456789abcdef", "live"} {
		assert.FileExists(t, filepath.Join(dir, name))
	}

	removed, err = atomicfile.Sweep(filepath.Join(dir, "nowhere"))
	require.NoError(t, err)
	assert.Empty(t, removed)
}

func TestIsTemp(t *testing.T) {
	assert.True(t, atomicfile.IsTemp(".x.tmp-0123456789abcdef"))
	for _, name := range []string{"x.tmp-0123456789abcdef", ".tmp-0123456789abcdef", ".x.tmp-0123456789ABCDEF", ".x.tmp-0123456789abcdef0", ""} {
		assert.False(t, atomicfile.IsTemp(name), name)
	}
}

func TestWritersAndSweepersTogether(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a")
	errs := make(chan error)
	for _, c := range "abcd" {
		text := []byte(strings.Repeat(string(c), 5000))
		go func() {
			var err error
			for range 25 {
				err = errors.Join(err, atomicfile.WriteFile(path, text, 0o644))
				_, e := atomicfile.Sweep(dir)
				err = errors.Join(err, e)
				got, e := os.ReadFile(path)
				err = errors.Join(err, e)
				if len(got) != 5000 || bytes.Count(got, got[:1]) != 5000 {
					err = errors.Join(err, errors.New("half a file was seen"))
				}
			}
			errs <- err
		}()
	}
	for range 4 {
		require.NoError(t, <-errs)
	}
	assert.Equal(t, []string{"a"}, names(t, dir))
}
