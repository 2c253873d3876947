//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package atomicfile

import (
	"errors"
	"os"
	"syscall"
)

const renameWhileOpen = true

// TryLock takes the exclusive lock of an open file without waiting, and tells whether it has it. The
// lock ends with the last closing of the file or the death of the process. It binds only those who
// ask for it. Where locks are not to be had the answer is true.
func TryLock(f *os.File) (bool, error) {
	for {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		switch {
		case errors.Is(err, syscall.EINTR):
			continue
		case errors.Is(err, syscall.EWOULDBLOCK):
			return false, nil
		case errors.Is(err, syscall.ENOTSUP), errors.Is(err, syscall.ENOSYS), errors.Is(err, syscall.ENOLCK):
			return true, nil
		case err != nil:
			return false, &os.PathError{Op: "lock", Path: f.Name(), Err: err}
		}
		return true, nil
	}
}

// writerGone tells that nobody writes the file any more.
func writerGone(f *os.File) (bool, error) { return TryLock(f) }
