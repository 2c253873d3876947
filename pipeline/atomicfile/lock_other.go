//go:build !(darwin || dragonfly || freebsd || linux || netbsd || openbsd)

package atomicfile

import (
	"os"
	"time"
)

const renameWhileOpen = false

// TryLock has no lock to take on this system: the answer is always true.
func TryLock(*os.File) (bool, error) { return true, nil }

// writerGone has only the age of the file to go by: nobody takes a day to write one.
func writerGone(f *os.File) (bool, error) {
	info, err := f.Stat()
	if err != nil {
		return false, err
	}
	return time.Since(info.ModTime()) > 24*time.Hour, nil
}
