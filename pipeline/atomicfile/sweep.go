package atomicfile

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
)

var tempPattern = regexp.MustCompile(`^\..+` + regexp.QuoteMeta(tempMark) + `[0-9a-f]{16}$`)

// IsTemp tells whether a file name (without folder) is that of a temporary file of this package.
func IsTemp(name string) bool { return tempPattern.MatchString(name) }

// Sweep removes the temporary files that killed processes left in dir (not in folders below it),
// and gives their names in the order of the names. Files that somebody is writing now stay. A
// folder that is not there has no leftovers.
func Sweep(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("looking for leftovers in %s: %w", dir, err)
	}
	var removed []string
	for _, e := range entries {
		if !e.Type().IsRegular() || !IsTemp(e.Name()) {
			continue
		}
		ok, err := removeIfDead(filepath.Join(dir, e.Name()))
		if err != nil {
			return removed, fmt.Errorf("removing the leftover %s in %s: %w", e.Name(), dir, err)
		}
		if ok {
			removed = append(removed, e.Name())
		}
	}
	return removed, nil
}

// removeIfDead removes the file unless its writer lives. Another sweep may be faster: a file that
// is gone is no error.
func removeIfDead(path string) (bool, error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	dead, err := writerGone(f)
	if !renameWhileOpen {
		f.Close() // an open file cannot be removed there
	} else {
		defer f.Close()
	}
	if err != nil || !dead {
		return false, err
	}
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return false, err
	}
	return true, nil
}
