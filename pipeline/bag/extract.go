package bag

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// Files gives every file of the bag, with its name inside the bag. Their bytes are not to be changed.
func (b *Bag) Files() []File { return slices.Concat(b.tags, payloadMembers(b.payload)) }

// WriteFolder makes the folder dir, which must not exist or be empty, of these files. A name that ends in a slash stands for an empty
// folder. The files are written into a folder beside dir, which takes dir's name when all of them are on the disk. On any
// failure, and when ctx ends, dir is as it was and nothing is left beside it. Nothing outside the folder beside dir is written, not even
// through links that somebody puts there meanwhile.
func WriteFolder(ctx context.Context, dir string, files []File) error {
	t, err := newTarget(dir)
	if err != nil {
		return err
	}
	defer t.root.Close()
	if err := t.root.Mkdir(t.temp, t.perm); err != nil {
		return fmt.Errorf("unpacking into %s: %w", dir, err)
	}
	if err := t.fill(ctx, files); err != nil {
		return errors.Join(fmt.Errorf("unpacking into %s: %w", dir, err), t.root.RemoveAll(t.temp))
	}
	return nil
}

// target is the folder that is to be made.
type target struct {
	root   *os.Root // the folder above it
	name   string
	temp   string
	exists bool // an empty folder
	perm   fs.FileMode
}

func newTarget(dir string) (*target, error) {
	f := findings{file: dir}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("unpacking into %s: %w", dir, err)
	}
	parent, name := filepath.Split(abs)
	if name == "" {
		return nil, f.refuse(CodeTargetTaken, "this is the top of the disk; nothing was written")
	}
	root, err := os.OpenRoot(parent)
	if err != nil {
		return nil, f.refuse(CodeTargetParent, "the folder above it can't be used: %v", errors.Unwrap(err))
	}
	var b [8]byte
	rand.Read(b[:]) // never fails since Go 1.24
	t := &target{root: root, name: name, temp: ".unpacking-" + hex.EncodeToString(b[:]), perm: 0o755}
	if err := t.look(&f); err != nil {
		root.Close()
		return nil, err
	}
	return t, nil
}

// look tells what stands under the name.
func (t *target) look(f *findings) error {
	info, err := t.root.Lstat(t.name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("unpacking into %s: %w", f.file, err)
	}
	if !info.IsDir() {
		return f.refuse(CodeTargetNoFolder, "a file or a link stands where the folder is to be; nothing was written")
	}
	entries, err := fs.ReadDir(t.root.FS(), t.name)
	if err != nil {
		return fmt.Errorf("unpacking into %s: %w", f.file, err)
	}
	if len(entries) > 0 {
		return f.refuse(CodeTargetTaken, "the folder is not empty (it holds %s); nothing was written", shown(entries[0].Name()))
	}
	if here, err := os.Stat("."); err == nil && os.SameFile(here, info) {
		return f.refuse(CodeTargetHere, "this is the folder that you are in, and it would be replaced; nothing was written")
	}
	t.exists, t.perm = true, info.Mode().Perm()
	return nil
}

// fill writes all files, then gives the folder its name.
func (t *target) fill(ctx context.Context, files []File) error {
	if err := t.write(ctx, files); err != nil {
		return err
	}
	if t.exists {
		if err := t.root.Remove(t.name); err != nil { // fails if it is not empty any more
			return err
		}
	}
	if err := t.root.Rename(t.temp, t.name); err != nil {
		if t.exists {
			err = errors.Join(err, t.root.Mkdir(t.name, t.perm))
		}
		return err
	}
	return nil
}

func (t *target) write(ctx context.Context, files []File) error {
	inside, err := t.root.OpenRoot(t.temp)
	if err != nil {
		return err
	}
	defer inside.Close()
	for _, f := range files {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := inside.MkdirAll(path.Dir(f.Name), 0o755); err != nil {
			return err
		}
		if strings.HasSuffix(f.Name, "/") {
			continue
		}
		if err := writeFile(inside, f); err != nil {
			return err
		}
	}
	return ctx.Err()
}

func writeFile(root *os.Root, f File) error {
	w, err := root.OpenFile(f.Name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	defer w.Close()
	if _, err := w.Write(f.Data); err != nil {
		return err
	}
	if err := w.Sync(); err != nil {
		return err
	}
	return w.Close()
}
