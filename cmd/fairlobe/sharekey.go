package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/handover"
)

// shareKey is the operator's key with its file.
type shareKey struct {
	handover.Key
	path string
	made bool // drawn now, and not on the disk yet
}

// findKey reads the key file that is named, or the one in the configuration folder. If that one is missing a key is drawn; keep writes it.
func findKey(path string) (shareKey, error) {
	k := shareKey{path: path}
	if path == "" {
		dir, err := os.UserConfigDir()
		if err != nil {
			return k, diag.List{{Msg: fmt.Sprintf("fairlobe: there is no folder for your key: %v", err), Mend: "name a key file with --key"}}
		}
		k.path = filepath.Join(dir, "fairlobe", "share.key")
	}
	text, err := os.ReadFile(k.path)
	switch {
	case errors.Is(err, fs.ErrNotExist) && path == "":
		k.Key, k.made = handover.NewKey(), true
		return k, nil
	case errors.Is(err, fs.ErrNotExist):
		return k, keyFault(k.path, "there is no such key file", "name the one that you have; for a new one: openssl rand -hex 32 > "+path)
	case err != nil:
		return k, keyFault(k.path, fmt.Sprintf("the key can't be read: %v", cause(err)),
			"give yourself the right to read it, or name another file with --key")
	}
	if k.Key, err = handover.ParseKey(text); err != nil {
		return k, keyFault(k.path, "this is no key: "+err.Error(),
			"bring the file back from a copy; with another key your bundles count as those of another operator")
	}
	return k, nil
}

func keyFault(path, msg, mend string) error {
	return diag.List{{Pos: diag.Pos{File: path}, Code: "key", Msg: msg, Mend: mend}}
}

// keep writes a key that was drawn, for its owner alone. One that was drawn there meanwhile stays: bundles were made with it.
func (k shareKey) keep() error {
	if !k.made {
		return nil
	}
	if err := os.MkdirAll(filepath.Dir(k.path), 0o700); err != nil {
		return fmt.Errorf("making the folder of your key: %w", err)
	}
	file, err := os.OpenFile(k.path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return keyFault(k.path, "another key was drawn here meanwhile; nothing was written", "share it again: with that key")
	}
	if err != nil {
		return fmt.Errorf("writing your key: %w", err)
	}
	_, err = file.Write(k.Text())
	if err = errors.Join(err, file.Sync(), file.Close()); err != nil {
		return fmt.Errorf("writing your key: %w", errors.Join(err, os.Remove(k.path)))
	}
	return nil
}
