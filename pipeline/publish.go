package pipeline

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/manifest"
	"fairlobe/pipeline/store"
)

// Folder says how an output folder is told from other folders.
type Folder struct {
	Marker   string // name of the file that marks it, for example ".tool"
	Text     string // what stands in the marker
	Manifest string // name of the manifest, which lists the files of the folder
	// Through is for tests: every new file is written through what it gives.
	Through func(atomicfile.File) atomicfile.File
}

// File is one file to be published.
type File struct {
	Name string // path inside the folder, with slashes
	Data []byte
}

// Published tells what [Publish] did, in the order of the files.
type Published struct {
	Written   []string
	Unchanged []string
	Removed   []string // made by an earlier run, and not any more
}

// Made tells whether dir is an output folder already.
func (f Folder) Made(dir string) bool {
	text, err := os.ReadFile(filepath.Join(dir, f.Marker))
	return err == nil && string(text) == f.Text
}

// Claim makes dir an output folder: a new or empty folder gets the marker. A folder that holds
// anything and has no marker is refused with a finding and left as it is.
func (f Folder) Claim(dir string) error {
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return refuse(dir, "this is a file, and the outputs need a folder; nothing was written", "choose an empty or new folder")
	}
	text, err := os.ReadFile(filepath.Join(dir, f.Marker))
	if err == nil && string(text) == f.Text {
		return nil
	}
	if err == nil {
		return refuse(dir, fmt.Sprintf("the folder was made by another version (see %s in it)", f.Marker), "choose an empty or new folder")
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return refuse(dir, fmt.Sprintf("the folder can't be used: %v", err), "choose an empty or new folder")
	}
	entries, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return refuse(dir, fmt.Sprintf("the folder can't be read: %v", err), "choose an empty or new folder")
	}
	for _, e := range entries {
		if !atomicfile.IsTemp(e.Name()) {
			return refuse(dir, fmt.Sprintf("the folder is not empty and was not made here (it holds %s); nothing was written", e.Name()),
				"choose an empty or new folder")
		}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("making the output folder: %w", err)
	}
	return atomicfile.WriteFile(filepath.Join(dir, f.Marker), []byte(f.Text), 0o644)
}

func refuse(file, msg, mend string) error {
	return diag.List{{Pos: diag.Pos{File: file}, Msg: msg, Mend: mend}}
}

// Publish puts the files into dir. The last file is the manifest and lists all others.
//
// Before anything in the folder changes, all new bytes are on the disk in a folder ".next-" inside
// it; then each file takes its place by a rename, in the given order. A file that has the right bytes
// already is left alone. A file that an earlier run made and this one doesn't is removed, if it still
// has the bytes that the earlier manifest tells. A file that is in the way and was not made here is
// a finding, and nothing is touched. A kill at any moment leaves whole files, and the next Publish
// ends with the same folder as an undisturbed one.
//
// Names stay inside dir, also through links. One run at a time may publish into a folder.
func Publish(dir string, files []File, f Folder) (Published, error) {
	if err := f.checkFiles(files); err != nil {
		return Published{}, fmt.Errorf("publishing into %s: %w", dir, err)
	}
	if err := f.Claim(dir); err != nil {
		return Published{}, err
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return Published{}, fmt.Errorf("publishing into %s: %w", dir, err)
	}
	defer root.Close()
	unlock, err := f.lock(root, dir)
	if err != nil {
		return Published{}, err
	}
	defer unlock()
	p := &publisher{Folder: f, dir: dir, root: root, files: files}
	if err := p.publish(); err != nil {
		var findings diag.List
		if errors.As(err, &findings) {
			return Published{}, err
		}
		return Published{}, fmt.Errorf("publishing into %s: %w", dir, err)
	}
	return p.done, nil
}

// checkFiles looks for mistakes of the caller.
func (f Folder) checkFiles(files []File) error {
	if len(files) == 0 || files[len(files)-1].Name != f.Manifest {
		return fmt.Errorf("the last file must be %s", f.Manifest)
	}
	seen := map[string]bool{}
	for _, file := range files {
		if err := checkName(file.Name); err != nil {
			return err
		}
		if lower := strings.ToLower(file.Name); seen[lower] {
			return fmt.Errorf("the name %q stands twice (upper and lower case count as one)", file.Name)
		} else {
			seen[lower] = true
		}
	}
	return checkListed(files)
}

func checkName(name string) error {
	if !fs.ValidPath(name) || name == "." || strings.ContainsAny(name, `\:`) || !printable(name) {
		return fmt.Errorf("the name %q does not stay inside the folder", name)
	}
	for part := range strings.SplitSeq(name, "/") {
		if strings.HasPrefix(part, ".") {
			return fmt.Errorf("the name %q begins with a dot, which is kept for the folder's own files", name)
		}
	}
	return nil
}

// checkListed holds the manifest against the files.
func checkListed(files []File) error {
	last := len(files) - 1
	m, err := manifest.Decode(files[last].Data)
	if err != nil {
		return err
	}
	if len(m.Outputs) != last {
		return fmt.Errorf("the manifest lists %d files, there are %d", len(m.Outputs), last)
	}
	for _, file := range files[:last] {
		want := manifest.File{Name: file.Name, Bytes: int64(len(file.Data)), SHA256: store.Sum(file.Data)}
		if !slices.Contains(m.Outputs, want) {
			return fmt.Errorf("the manifest does not list %s with its size and SHA-256", file.Name)
		}
	}
	return nil
}

func (f Folder) lock(root *os.Root, dir string) (unlock func(), err error) {
	marker, err := root.OpenFile(f.Marker, os.O_RDWR, 0)
	if err != nil {
		return nil, fmt.Errorf("publishing into %s: %w", dir, err)
	}
	mine, err := atomicfile.TryLock(marker)
	if err == nil && !mine {
		err = refuse(dir, "another run is writing into the folder", "wait for it to end, or choose another folder")
	}
	if err != nil {
		marker.Close()
		return nil, err
	}
	return func() { marker.Close() }, nil
}

// existing tells what stands under a name: its bytes, or nil if nothing does.
func (p *publisher) existing(name string) ([]byte, error) {
	info, err := p.root.Lstat(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, refuse(path.Join(filepath.ToSlash(p.dir), name), "a folder or a link stands where a file is to be written; nothing was written", "move it away, or choose another folder")
	}
	data, err := p.root.ReadFile(name)
	if data == nil && err == nil {
		data = []byte{}
	}
	return data, err
}

// sameAs tells that bytes stand under the name and are these.
func sameAs(have, want []byte) bool { return have != nil && bytes.Equal(have, want) }
