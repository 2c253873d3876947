package seal

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/gowebpki/jcs"

	"fairlobe/pipeline/diag"
)

// Suffix is what follows the experiment's name.
const Suffix = ".seal.json"

// maxBytes is the limit of a seal file.
const maxBytes = 16 << 20

// Write writes the seal, whole or not at all. A file that holds the same digest stays as it is, with its
// older date; one that holds anything else is never overwritten, and the error, a diag.List, says what to
// do. An empty Name becomes the file's name without the suffix.
func Write(path string, s Seal) error {
	old, err := Read(path)
	switch {
	case err == nil && old.Digest == s.Digest:
		return nil
	case err == nil:
		return refused(path, fmt.Sprintf("an earlier seal stands here, of %s, and it seals something else", old.SealedAt.UTC().Format("2006-01-02 15:04Z")))
	case !errors.Is(err, fs.ErrNotExist):
		return refused(path, "a file stands here that is no seal")
	}
	if s.Name == "" {
		s.Name = strings.TrimSuffix(filepath.Base(path), Suffix)
	}
	text, err := encode(s, "  ")
	if err != nil {
		return fmt.Errorf("sealing: %w", err)
	}
	return create(path, text)
}

func refused(path, why string) error {
	return diag.List{{
		Pos:  diag.Pos{File: path},
		Code: "sealed",
		Msg:  why + ": it is never overwritten",
		Mend: "take the experiment back to what was sealed, or give the new one a new name; if the trial has not begun, move the file away yourself",
	}}
}

// create makes a file that does not exist yet. A hard link appears at once, whole, and only if nothing
// stands there; where the file system has none, the file is created under its own name.
func create(path string, text []byte) error {
	temp, err := os.CreateTemp(filepath.Dir(path), ".seal-*")
	if err != nil {
		return fmt.Errorf("writing the seal: %w", err)
	}
	defer os.Remove(temp.Name())
	if err := fill(temp, text); err != nil {
		return err
	}
	err = os.Link(temp.Name(), path)
	if err == nil {
		return nil
	}
	if errors.Is(err, fs.ErrExist) {
		return refused(path, "another seal was written at this moment")
	}
	return createInPlace(path, text)
}

func createInPlace(path string, text []byte) error {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("writing the seal: %w", err)
	}
	if err := fill(file, text); err != nil {
		return errors.Join(err, os.Remove(path))
	}
	return nil
}

func fill(file *os.File, text []byte) error {
	_, err := file.Write(text)
	err = errors.Join(err, file.Chmod(0o644), file.Sync(), file.Close())
	if err != nil {
		return fmt.Errorf("writing the seal: %w", err)
	}
	return nil
}

// Read reads a seal and checks that its digest is that of its content. A missing file gives an error that
// is fs.ErrNotExist; a file at fault gives a diag.List.
func Read(path string) (Seal, error) {
	file, err := os.Open(path)
	if err != nil {
		return Seal{}, fmt.Errorf("reading the seal: %w", err)
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, maxBytes+1))
	if err != nil {
		return Seal{}, fmt.Errorf("reading the seal: %w", err)
	}
	s, err := parse(text)
	if err != nil {
		return Seal{}, diag.List{{
			Pos:  diag.Pos{File: path},
			Code: "seal",
			Msg:  "this is no whole seal: " + err.Error(),
			Mend: "bring back the file as `fairlobe design --seal` wrote it, for example from a copy",
		}}
	}
	return s, nil
}

func parse(text []byte) (Seal, error) {
	var s Seal
	if err := decode(text, &s, &s); err != nil {
		return s, err
	}
	content, err := jcs.Transform(s.Content)
	if err != nil {
		return s, fmt.Errorf("its content: %w", err)
	}
	s.Content = content
	s.SealedAt = s.SealedAt.UTC()
	is, err := digest(content, s.Order)
	if err != nil {
		return s, err
	}
	if is != s.Digest {
		return s, fmt.Errorf("its content has the digest %s, and it says %s", is, s.Digest)
	}
	return s, nil
}

// decode reads a seal, which is the file or a part of it, and checks its format.
func decode(text []byte, file any, s *Seal) error {
	if len(text) > maxBytes {
		return fmt.Errorf("it is larger than %d MiB", maxBytes>>20)
	}
	if err := json.Unmarshal(text, file); err != nil {
		return err
	}
	if s.Format != Format {
		return fmt.Errorf("its format is %d, and this version reads %d", s.Format, Format)
	}
	return nil
}
