package store_test

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/store"
)

func open(t testing.TB) *store.Store {
	t.Helper()
	s, err := store.Open(filepath.Join(t.TempDir(), "store"))
	require.NoError(t, err)
	return s
}

// put stores two outputs under the key of the text.
func put(t testing.TB, s *store.Store, text string) string {
	t.Helper()
	key := store.KeyOf(text)
	require.NoError(t, s.Put(key, text, map[string][]byte{"a": []byte("bytes of a " + text), "b/c.html": {}}, []byte(`{"n":[1,2]}`)))
	return key
}

// The SHA-256 of "abc" is the first example of FIPS 180-2, appendix B.1.
func TestKeyIsTheSumOfThePreimage(t *testing.T) {
	assert.Equal(t, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", store.KeyOf("abc"))
}

func TestPutThenGet(t *testing.T) {
	s := open(t)
	_, ok, reason := s.Get(store.KeyOf("x"))
	assert.False(t, ok)
	assert.Empty(t, reason, "never stored is no damage")

	key := put(t, s, "x")
	entry, ok, reason := s.Get(key)
	require.True(t, ok, reason)
	assert.Empty(t, reason)
	assert.JSONEq(t, `{"n":[1,2]}`, string(entry.Notes))
	assert.Len(t, entry.Outputs, 2)
	data, err := s.Read(entry.Outputs["a"].SHA256)
	require.NoError(t, err)
	assert.Equal(t, "bytes of a x", string(data))
	pre, ok := s.Preimage(key)
	assert.True(t, ok)
	assert.Equal(t, "x", pre)

	again, err := store.Open(s.Dir())
	require.NoError(t, err)
	_, ok, _ = again.Get(key)
	assert.True(t, ok, "a store outlives its process")

	require.ErrorContains(t, s.Put(key, "y", nil, nil), "it is not the key of its pre-image")
	require.Error(t, s.Put(store.KeyOf("y"), "y", nil, []byte("{")), "notes must be JSON")
}

// Every file in data is named by its sum, every pre-image by its own.
func TestNamesCanBeCheckedByHand(t *testing.T) {
	s := open(t)
	key := put(t, s, "x")
	files, err := os.ReadDir(filepath.Join(s.Dir(), "data"))
	require.NoError(t, err)
	require.Len(t, files, 2)
	for _, f := range files {
		data, err := os.ReadFile(filepath.Join(s.Dir(), "data", f.Name()))
		require.NoError(t, err)
		assert.Equal(t, f.Name(), store.Sum(data))
	}
	text, err := os.ReadFile(filepath.Join(s.Dir(), "keys", key+".txt"))
	require.NoError(t, err)
	assert.Equal(t, key, store.Sum(text))
}

func TestDamageIsAMissWithAReason(t *testing.T) {
	sum := store.Sum([]byte("bytes of a x"))
	edit := func(change func(string) string) func(path string) error {
		return func(path string) error {
			text, err := os.ReadFile(path)
			return errors.Join(err, os.WriteFile(path, []byte(change(string(text))), 0o644))
		}
	}
	for _, tt := range []struct {
		name, file string
		damage     func(path string) error
		want       string
	}{
		{"entry cut", "keys", edit(func(s string) string { return s[:len(s)/2] }), "the entry is cut or no JSON"},
		{"entry empty", "keys", edit(func(string) string { return "" }), "the entry is cut or no JSON"},
		{"entry without its end", "keys", edit(func(s string) string { return strings.TrimSuffix(s, "\n") }), "the entry is not in its written form"},
		{"entry and more", "keys", edit(func(s string) string { return s + s }), "the entry is not in its written form"},
		{"other format", "keys", edit(func(s string) string { return strings.Replace(s, `"format":1`, `"format":2`, 1) }), "the entry has format 2, not 1"},
		{"a note changed", "keys", edit(func(s string) string { return strings.Replace(s, "[1,2]", "[1,3]", 1) }), "the entry's sum is wrong"},
		{"unknown field", "keys", edit(func(s string) string { return strings.Replace(s, `{"format"`, `{"x":1,"format"`, 1) }), "the entry is cut or no JSON"},
		{"data cut", "data", edit(func(s string) string { return s[1:] }), "output a: it has 11 bytes, not 12"},
		{"data longer", "data", edit(func(s string) string { return s + "." }), "output a: it has 13 bytes, not 12"},
		{"data flipped", "data", edit(strings.ToUpper), "output a: its sum is wrong"},
		{"data gone", "data", os.Remove, "output a: its bytes are gone"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := open(t)
			key := put(t, s, "x")
			path := filepath.Join(s.Dir(), "keys", key)
			if tt.file == "data" {
				path = filepath.Join(s.Dir(), "data", sum)
			}
			require.NoError(t, tt.damage(path))
			_, ok, reason := s.Get(key)
			assert.False(t, ok)
			assert.Contains(t, reason, tt.want)
			if tt.file == "data" {
				_, err := s.Read(sum)
				require.Error(t, err)
			}
			put(t, s, "x")
			_, ok, reason = s.Get(key)
			assert.True(t, ok, "storing again mends it: %s", reason)
		})
	}
}

func TestDamagedPreimageIsNotGiven(t *testing.T) {
	s := open(t)
	key := put(t, s, "x")
	require.NoError(t, os.WriteFile(filepath.Join(s.Dir(), "keys", key+".txt"), []byte("z"), 0o644))
	_, ok := s.Preimage(key)
	assert.False(t, ok)
}

func TestNamesFromOutsideStayInside(t *testing.T) {
	s := open(t)
	for _, name := range []string{"", "../format", strings.Repeat("a", 63) + "/", strings.Repeat("A", 64)} {
		_, ok, reason := s.Get(name)
		assert.False(t, ok)
		assert.Contains(t, reason, "is no key")
		_, err := s.Read(name)
		require.ErrorContains(t, err, "is no SHA-256")
		_, ok = s.Preimage(name)
		assert.False(t, ok)
		require.Error(t, s.SetLatest("label", name))
		require.Error(t, s.SetLatest("../"+name, store.KeyOf("")))
		_, ok = s.Latest("../" + name)
		assert.False(t, ok)
	}
}

func TestLatest(t *testing.T) {
	s := open(t)
	_, ok := s.Latest("weigh")
	assert.False(t, ok)
	for _, text := range []string{"one", "two", "two"} {
		require.NoError(t, s.SetLatest("weigh", store.KeyOf(text)))
		key, ok := s.Latest("weigh")
		assert.True(t, ok)
		assert.Equal(t, store.KeyOf(text), key)
	}
}

func TestOpenRefusesOtherFolders(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "letter.txt"), nil, 0o644))
	_, err := store.Open(dir)
	require.ErrorContains(t, err, "the folder is no store and not empty (it holds letter.txt): choose an empty or new folder")
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, entries, 1, "and leaves them as they are")

	other := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(other, "format"), []byte("content store, format 9\n"), 0o644))
	_, err = store.Open(other)
	require.ErrorContains(t, err, "it is a store of another format")
}

func TestOpenSweepsLeftovers(t *testing.T) {
	s := open(t)
	left := filepath.Join(s.Dir(), "data", ".x.tmp-0123456789abcdef")
	require.NoError(t, os.WriteFile(left, nil, 0o644))
	_, err := store.Open(s.Dir())
	require.NoError(t, err)
	assert.NoFileExists(t, left)
}

type fullDisk struct{ atomicfile.File }

func (fullDisk) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

func TestFullDiskLeavesTheStoreWhole(t *testing.T) {
	dir := open(t).Dir()
	s, err := store.Open(dir, atomicfile.Through(func(f atomicfile.File) atomicfile.File { return fullDisk{f} }))
	require.NoError(t, err)
	key := store.KeyOf("x")
	err = s.Put(key, "x", map[string][]byte{"a": []byte("1")}, nil)
	require.ErrorIs(t, err, syscall.ENOSPC)
	assert.ErrorContains(t, err, "storing a: ")
	assert.ErrorContains(t, err, "the disk is full")
	_, ok, reason := s.Get(key)
	assert.False(t, ok)
	assert.Empty(t, reason)
}

func TestTrim(t *testing.T) {
	s := open(t)
	kept, gone := put(t, s, "kept"), put(t, s, "gone")
	done, err := s.Trim(kept)
	require.NoError(t, err)
	assert.Equal(t, store.Trimmed{Entries: 1, Objects: 1, Bytes: int64(len("bytes of a gone"))}, done)
	_, ok, _ := s.Get(kept)
	assert.True(t, ok, "the empty output that both share stays")
	_, ok, _ = s.Get(gone)
	assert.False(t, ok)
	_, ok = s.Preimage(gone)
	assert.False(t, ok)
	done, err = s.Trim()
	require.NoError(t, err)
	assert.Equal(t, 1, done.Entries)
	assert.Equal(t, 2, done.Objects)
}

const childDir = "STORE_TEST_CHILD_DIR"

// TestChildProcess is what the other process of TestTwoProcesses does.
func TestChildProcess(t *testing.T) {
	dir := os.Getenv(childDir)
	if dir == "" {
		t.Skip("only runs as the child of TestTwoProcesses")
	}
	work(t, dir)
}

// work stores the same entries over and over and reads them back.
func work(t *testing.T, dir string) {
	for range 4 {
		s, err := store.Open(dir)
		require.NoError(t, err)
		for i := range 8 {
			key := put(t, s, fmt.Sprint(i))
			_, ok, reason := s.Get(key)
			require.True(t, ok, reason)
			require.NoError(t, s.SetLatest("all", key))
		}
	}
}

func TestTwoProcesses(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "store")
	child := exec.Command(os.Args[0], "-test.run=^TestChildProcess$")
	child.Env = append(os.Environ(), childDir+"="+dir)
	var text strings.Builder
	child.Stdout, child.Stderr = &text, &text
	require.NoError(t, child.Start())
	work(t, dir)
	require.NoError(t, child.Wait(), text.String())
	s, err := store.Open(dir)
	require.NoError(t, err)
	for i := range 8 {
		_, ok, reason := s.Get(store.KeyOf(fmt.Sprint(i)))
		assert.True(t, ok, reason)
	}
}

func TestGoroutinesShareOneStore(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "store")
	for g := range 3 {
		t.Run(fmt.Sprint(g), func(t *testing.T) {
			t.Parallel()
			work(t, dir)
		})
	}
}

func TestWhatIsPutIsGot(t *testing.T) {
	s := open(t)
	rapid.Check(t, func(t *rapid.T) {
		outputs := rapid.MapOfN(rapid.String(), rapid.SliceOfN(rapid.Byte(), 0, 50), 0, 4).Draw(t, "outputs")
		pre := rapid.String().Draw(t, "preimage")
		require.NoError(t, s.Put(store.KeyOf(pre), pre, outputs, nil))
		entry, ok, reason := s.Get(store.KeyOf(pre))
		require.True(t, ok, reason)
		require.Len(t, entry.Outputs, len(outputs))
		for name, data := range outputs {
			got, err := s.Read(entry.Outputs[name].SHA256)
			require.NoError(t, err)
			require.Equal(t, store.Sum(data), store.Sum(got))
		}
	})
}

// Whatever stands in an entry's file, only the written form is taken.
func FuzzEntry(f *testing.F) {
	s := open(f)
	key := put(f, s, "x")
	path := filepath.Join(s.Dir(), "keys", key)
	text, err := os.ReadFile(path)
	require.NoError(f, err)
	f.Add(text)
	f.Add(text[:20])
	f.Add([]byte(`{"format":1,"outputs":{"a":{"sha256":"../../x","bytes":1}},"sum":""}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		require.NoError(t, os.WriteFile(path, data, 0o644))
		_, ok, reason := s.Get(key)
		require.Equal(t, string(data) == string(text), ok, reason)
		require.Equal(t, !ok, reason != "", "damage has a reason")
	})
}
