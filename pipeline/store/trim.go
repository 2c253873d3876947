package store

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Trimmed tells what [Store.Trim] removed.
type Trimmed struct {
	Entries int   // keys
	Objects int   // data files
	Bytes   int64 // in the data files
}

// Trim removes every entry whose key is not in keep, damaged entries, and data that no entry left
// points to. No other process should work with the store then: data whose entry isn't written yet
// would go, and that work would have to be done again.
func (s *Store) Trim(keep ...string) (Trimmed, error) {
	var done Trimmed
	used, err := s.trimKeys(keep, &done)
	if err != nil {
		return done, fmt.Errorf("trimming the store: %w", err)
	}
	if err := s.trimData(used, &done); err != nil {
		return done, fmt.Errorf("trimming the store: %w", err)
	}
	return done, nil
}

// trimKeys gives the sums that the entries left point to.
func (s *Store) trimKeys(keep []string, done *Trimmed) (map[string]bool, error) {
	entries, err := os.ReadDir(filepath.Join(s.dir, keysDir))
	if err != nil {
		return nil, err
	}
	used := map[string]bool{}
	for _, f := range entries {
		key := strings.TrimSuffix(f.Name(), ".txt")
		if !sumPattern.MatchString(key) {
			continue
		}
		if slices.Contains(keep, key) {
			if entry, ok, _ := s.Get(key); ok {
				markUsed(used, entry)
				continue
			}
		}
		if err := os.Remove(filepath.Join(s.dir, keysDir, f.Name())); err != nil {
			return nil, err
		}
		if f.Name() == key {
			done.Entries++
		}
	}
	return used, nil
}

func markUsed(used map[string]bool, entry Entry) {
	for _, o := range entry.Outputs {
		used[o.SHA256] = true
	}
}

func (s *Store) trimData(used map[string]bool, done *Trimmed) error {
	files, err := os.ReadDir(filepath.Join(s.dir, dataDir))
	if err != nil {
		return err
	}
	for _, f := range files {
		if used[f.Name()] || !sumPattern.MatchString(f.Name()) {
			continue
		}
		info, err := f.Info()
		if err != nil {
			return err
		}
		if err := os.Remove(s.dataPath(f.Name())); err != nil {
			return err
		}
		done.Objects++
		done.Bytes += info.Size()
	}
	return nil
}

func sortedNames(m map[string]Object) []string { return slices.Sorted(maps.Keys(m)) }
