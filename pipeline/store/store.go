// Package store keeps the results of work under the key of the work.
//
// A key is the SHA-256 of a text, its pre-image, that names everything the work depends on; what
// belongs into that text is for the caller. The folder holds
//
//	format               "content store, format 1"
//	keys/KEY.txt         the pre-image: sha256sum of it gives KEY
//	keys/KEY             what the work made: JSON, each output's name, size and SHA-256, and notes
//	data/SUM             the bytes of one output: sha256sum of it gives SUM
//	latest/LABEL         the key that was stored last under a label, for telling what changed since
//
// Nothing in the store is trusted: every read checks size and sum, and a damaged entry is no entry,
// with the reason said. Files appear whole or not at all, the entry after its data, so several
// processes may use one store at a time and a killed one leaves at most unused data. [Store.Trim]
// is the exception: nobody else should be at work then. The promise ends where that of package
// atomicfile ends (network file systems).
//
// The two hashes, of the work and of its outcome, follow the build cache of the Go command
// (cmd/go/internal/cache).
package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"

	"fairlobe/pipeline/atomicfile"
)

const (
	formatFile = "format"
	formatText = "content store, format 1\n"
	keysDir    = "keys"
	dataDir    = "data"
	latestDir  = "latest"
	filePerm   = 0o644
)

// Store is one folder of results. It may be used by several goroutines.
type Store struct {
	dir  string
	opts []atomicfile.Option
}

// Open opens the store in dir and makes it if dir is missing or empty; leftovers of killed
// processes are swept away. A folder that holds anything else is refused and left as it is. The
// options go to every file that is written.
func Open(dir string, opts ...atomicfile.Option) (*Store, error) {
	if err := checkFolder(dir); err != nil {
		return nil, fmt.Errorf("opening the store %s: %w", dir, err)
	}
	for _, d := range []string{"", keysDir, dataDir, latestDir} {
		if err := os.MkdirAll(filepath.Join(dir, d), 0o755); err != nil {
			return nil, fmt.Errorf("opening the store: %w", err)
		}
		if _, err := atomicfile.Sweep(filepath.Join(dir, d)); err != nil {
			return nil, fmt.Errorf("opening the store: %w", err)
		}
	}
	s := &Store{dir: dir, opts: opts}
	if err := s.writeFormat(); err != nil {
		return nil, fmt.Errorf("opening the store: %w", err)
	}
	return s, nil
}

// checkFolder refuses a folder that is not, or not only, a store of this format.
func checkFolder(dir string) error {
	text, err := os.ReadFile(filepath.Join(dir, formatFile))
	if err == nil && string(text) == formatText {
		return nil
	}
	if err == nil {
		return fmt.Errorf("it is a store of another format or no store (file %s): choose another folder", formatFile)
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	entries, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, e := range entries {
		switch e.Name() {
		case formatFile, keysDir, dataDir, latestDir: // another process is making the store now
		default:
			if !atomicfile.IsTemp(e.Name()) {
				return fmt.Errorf("the folder is no store and not empty (it holds %s): choose an empty or new folder", e.Name())
			}
		}
	}
	return nil
}

func (s *Store) writeFormat() error {
	path := filepath.Join(s.dir, formatFile)
	if text, err := os.ReadFile(path); err == nil && string(text) == formatText {
		return nil
	}
	return atomicfile.WriteFile(path, []byte(formatText), filePerm, s.opts...)
}

// Dir gives the folder of the store.
func (s *Store) Dir() string { return s.dir }

// Sum gives the SHA-256 of the bytes as 64 hexadecimal digits.
func Sum(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}

// KeyOf gives the key of a pre-image: its SHA-256 as 64 hexadecimal digits.
func KeyOf(preimage string) string { return Sum([]byte(preimage)) }

var sumPattern = regexp.MustCompile(`^[0-9a-f]{64}$`)

// Put stores outputs (name to bytes) and notes (JSON, or nil) under the key of the pre-image. What
// stood there before is replaced.
func (s *Store) Put(key, preimage string, outputs map[string][]byte, notes []byte) error {
	if key != KeyOf(preimage) {
		return fmt.Errorf("storing %s: it is not the key of its pre-image", short(key))
	}
	entry := Entry{Outputs: map[string]Object{}, Notes: notes}
	for name, data := range outputs {
		sum := Sum(data)
		if err := s.putData(sum, data); err != nil {
			return fmt.Errorf("storing %s: %w", name, err)
		}
		entry.Outputs[name] = Object{SHA256: sum, Bytes: int64(len(data))}
	}
	text, err := entry.encode()
	if err != nil {
		return fmt.Errorf("storing %s: %w", short(key), err)
	}
	if err := s.write(s.keyPath(key)+".txt", []byte(preimage)); err != nil {
		return fmt.Errorf("storing %s: %w", short(key), err)
	}
	if err := s.write(s.keyPath(key), text); err != nil {
		return fmt.Errorf("storing %s: %w", short(key), err)
	}
	return nil
}

// putData leaves a sound file alone and replaces a damaged one.
func (s *Store) putData(sum string, data []byte) error {
	if have, err := os.ReadFile(s.dataPath(sum)); err == nil && bytes.Equal(have, data) {
		return nil
	}
	return s.write(s.dataPath(sum), data)
}

func (s *Store) write(path string, data []byte) error {
	return atomicfile.WriteFile(path, data, filePerm, s.opts...)
}

// Read gives the bytes whose SHA-256 is sum.
func (s *Store) Read(sum string) ([]byte, error) {
	if !sumPattern.MatchString(sum) {
		return nil, fmt.Errorf("reading from the store: %q is no SHA-256", sum)
	}
	data, err := os.ReadFile(s.dataPath(sum))
	if err != nil {
		return nil, fmt.Errorf("reading from the store: %w", err)
	}
	if Sum(data) != sum {
		return nil, fmt.Errorf("reading from the store: the bytes of data/%s are damaged", sum)
	}
	return data, nil
}

// Preimage gives the pre-image of a key, if it is there and sound.
func (s *Store) Preimage(key string) (string, bool) {
	if !sumPattern.MatchString(key) {
		return "", false
	}
	text, err := os.ReadFile(s.keyPath(key) + ".txt")
	if err != nil || KeyOf(string(text)) != key {
		return "", false
	}
	return string(text), true
}

var labelPattern = regexp.MustCompile(`^[a-z0-9][a-z0-9._-]{0,99}$`)

// Latest gives the key that was set last under the label, if any. It is a hint: the entry may be gone.
func (s *Store) Latest(label string) (string, bool) {
	if !labelPattern.MatchString(label) {
		return "", false
	}
	text, err := os.ReadFile(filepath.Join(s.dir, latestDir, label))
	key := string(bytes.TrimSpace(text))
	if err != nil || !sumPattern.MatchString(key) {
		return "", false
	}
	return key, true
}

// SetLatest remembers the key under the label: lower-case letters, digits, '.', '_' and '-'.
func (s *Store) SetLatest(label, key string) error {
	if !labelPattern.MatchString(label) || !sumPattern.MatchString(key) {
		return fmt.Errorf("remembering the latest key: bad label %q or key %q", label, key)
	}
	if have, ok := s.Latest(label); ok && have == key {
		return nil
	}
	return s.write(filepath.Join(s.dir, latestDir, label), []byte(key+"\n"))
}

func (s *Store) keyPath(key string) string  { return filepath.Join(s.dir, keysDir, key) }
func (s *Store) dataPath(sum string) string { return filepath.Join(s.dir, dataDir, sum) }

// short gives the first digits of a key, enough for a message.
func short(key string) string {
	if len(key) > 12 {
		return key[:12]
	}
	return key
}
