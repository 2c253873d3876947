package store

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// Entry is what one piece of work made.
type Entry struct {
	// Outputs are by name.
	Outputs map[string]Object
	// Notes are JSON that the caller stored beside the outputs, or nil.
	Notes json.RawMessage
}

// Object points to the bytes of one output.
type Object struct {
	SHA256 string `json:"sha256"`
	Bytes  int64  `json:"bytes"`
}

// entryFile is the stored form. Sum is the SHA-256 of the same JSON with an empty Sum, so that damage
// to a note or a name is seen too. Go writes maps with sorted keys.
type entryFile struct {
	Format  int               `json:"format"`
	Outputs map[string]Object `json:"outputs"`
	Notes   json.RawMessage   `json:"notes,omitempty"`
	Sum     string            `json:"sum"`
}

const entryFormat = 1

func (e Entry) encode() ([]byte, error) {
	f := entryFile{Format: entryFormat, Outputs: e.Outputs, Notes: e.Notes}
	sum, err := f.sum()
	if err != nil {
		return nil, err
	}
	f.Sum = sum
	text, err := json.Marshal(f)
	return append(text, '\n'), err
}

func (f entryFile) sum() (string, error) {
	f.Sum = ""
	text, err := json.Marshal(f)
	return Sum(text), err
}

// decodeEntry reads the stored form. It takes only the very bytes that encode writes.
func decodeEntry(text []byte) (Entry, error) {
	var f entryFile
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return Entry{}, fmt.Errorf("the entry is cut or no JSON: %w", err)
	}
	if f.Format != entryFormat {
		return Entry{}, fmt.Errorf("the entry has format %d, not %d", f.Format, entryFormat)
	}
	if sum, err := f.sum(); err != nil || sum != f.Sum {
		return Entry{}, errors.New("the entry's sum is wrong")
	}
	e := Entry{Outputs: f.Outputs, Notes: f.Notes}
	if again, err := e.encode(); err != nil || !bytes.Equal(again, text) {
		return Entry{}, errors.New("the entry is not in its written form")
	}
	return e, nil
}

// Get looks a key up. A missing entry has no reason; a damaged one is missing too, with the reason
// in words. The bytes of every output have been checked.
func (s *Store) Get(key string) (entry Entry, ok bool, reason string) {
	if !sumPattern.MatchString(key) {
		return Entry{}, false, fmt.Sprintf("%q is no key", key)
	}
	text, err := os.ReadFile(s.keyPath(key))
	if errors.Is(err, fs.ErrNotExist) {
		return Entry{}, false, ""
	}
	if err != nil {
		return Entry{}, false, fmt.Sprintf("the entry can't be read: %v", err)
	}
	entry, err = decodeEntry(text)
	if err != nil {
		return Entry{}, false, err.Error()
	}
	for _, name := range sortedNames(entry.Outputs) {
		if err := s.check(entry.Outputs[name]); err != nil {
			return Entry{}, false, fmt.Sprintf("output %s: %v", name, err)
		}
	}
	return entry, true, ""
}

func (s *Store) check(o Object) error {
	if !sumPattern.MatchString(o.SHA256) {
		return errors.New("its SHA-256 is malformed")
	}
	info, err := os.Stat(s.dataPath(o.SHA256))
	if errors.Is(err, fs.ErrNotExist) {
		return errors.New("its bytes are gone")
	}
	if err != nil {
		return err
	}
	if info.Size() != o.Bytes {
		return fmt.Errorf("it has %d bytes, not %d", info.Size(), o.Bytes)
	}
	data, err := os.ReadFile(s.dataPath(o.SHA256))
	if err != nil {
		return err
	}
	if Sum(data) != o.SHA256 {
		return errors.New("its sum is wrong")
	}
	return nil
}
