package pipeline_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/pipeline"
	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/manifest"
	"fairlobe/pipeline/store"
)

var folder = pipeline.Folder{Marker: ".shop", Text: "shop output folder, format 1\n", Manifest: "manifest.json"}

// files gives the named files in order, and the manifest behind them.
func files(t require.TestingT, namesAndTexts ...string) []pipeline.File {
	var out []pipeline.File
	var m manifest.Manifest
	for i := 0; i < len(namesAndTexts); i += 2 {
		data := []byte(namesAndTexts[i+1])
		out = append(out, pipeline.File{Name: namesAndTexts[i], Data: data})
		m.Outputs = append(m.Outputs, manifest.File{Name: namesAndTexts[i], Bytes: int64(len(data)), SHA256: store.Sum(data)})
	}
	text, err := m.Encode()
	require.NoError(t, err)
	return append(out, pipeline.File{Name: folder.Manifest, Data: text})
}

// tree gives every file below dir with its text, one a line.
func tree(t require.TestingT, dir string) string {
	var b strings.Builder
	require.NoError(t, fs.WalkDir(os.DirFS(dir), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || path == "." {
			return err
		}
		if d.IsDir() {
			b.WriteString(path + "/\n")
			return nil
		}
		data, err := os.ReadFile(filepath.Join(dir, path))
		if path != folder.Manifest {
			b.WriteString(path + ": " + strings.TrimSpace(string(data)) + "\n")
		}
		return err
	}))
	return b.String()
}

func publish(t *testing.T, dir string, f []pipeline.File) pipeline.Published {
	t.Helper()
	done, err := pipeline.Publish(dir, f, folder)
	require.NoError(t, err)
	return done
}

func TestPublish(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "out")
	done := publish(t, dir, files(t, "tables/a.csv", "1", "tables/b/c.csv", "2", "report.html", "page"))
	assert.Equal(t, pipeline.Published{Written: []string{"tables/a.csv", "tables/b/c.csv", "report.html", "manifest.json"}}, done)
	first := tree(t, dir)
	assert.Equal(t, ".shop: shop output folder, format 1\nreport.html: page\ntables/\ntables/a.csv: 1\ntables/b/\ntables/b/c.csv: 2\n", first)

	before, err := os.Stat(filepath.Join(dir, "report.html"))
	require.NoError(t, err)
	done = publish(t, dir, files(t, "tables/a.csv", "1", "tables/b/c.csv", "2", "report.html", "page"))
	assert.Len(t, done.Unchanged, 4)
	assert.Empty(t, done.Written)
	assert.Equal(t, first, tree(t, dir))

	require.NoError(t, os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("mine"), 0o644))
	done = publish(t, dir, files(t, "tables/a.csv", "new", "report.html", "page"))
	assert.Equal(t, pipeline.Published{Written: []string{"tables/a.csv", "manifest.json"}, Unchanged: []string{"report.html"}, Removed: []string{"tables/b/c.csv"}}, done)
	assert.Equal(t, ".shop: shop output folder, format 1\nnotes.txt: mine\nreport.html: page\ntables/\ntables/a.csv: new\n", tree(t, dir))
	after, err := os.Stat(filepath.Join(dir, "report.html"))
	require.NoError(t, err)
	assert.True(t, os.SameFile(before, after), "a file with the right bytes is left alone")
}

func TestPublishKeepsWhatTheUserMade(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	publish(t, dir, files(t, "a.txt", "1", "b.txt", "2"))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "b.txt"), []byte("edited by hand"), 0o644))
	done := publish(t, dir, files(t, "a.txt", "1"))
	assert.Empty(t, done.Removed, "a file that was changed since is not ours to remove")
	assert.Contains(t, tree(t, dir), "b.txt: edited by hand")

	before := tree(t, dir)
	_, err := pipeline.Publish(dir, files(t, "a.txt", "3", "b.txt", "2"), folder)
	require.ErrorContains(t, err, "out/b.txt: this file was not made here and would be overwritten; nothing was written\n    mend: move it away")
	assert.Equal(t, before, tree(t, dir))
}

func TestPublishRefusesFoldersThatAreNotOurs(t *testing.T) {
	base := t.TempDir()
	letters := filepath.Join(base, "letters")
	require.NoError(t, os.Mkdir(letters, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(letters, "a.txt"), []byte("dear"), 0o644))
	other := filepath.Join(base, "other")
	require.NoError(t, os.Mkdir(other, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(other, ".shop"), []byte("shop output folder, format 2\n"), 0o644))
	for dir, want := range map[string]string{
		letters:                         "the folder is not empty and was not made here (it holds a.txt); nothing was written",
		other:                           "the folder was made by another version (see .shop in it)",
		filepath.Join(letters, "a.txt"): "this is a file, and the outputs need a folder",
	} {
		before := tree(t, base)
		_, err := pipeline.Publish(dir, files(t, "a.txt", "1"), folder)
		var found diag.List
		require.ErrorAs(t, err, &found)
		assert.Contains(t, found[0].Msg, want)
		assert.Equal(t, dir, found[0].Pos.File)
		assert.NotEmpty(t, found[0].Mend)
		assert.Equal(t, before, tree(t, base), "nothing is touched")
	}
	empty := filepath.Join(base, "empty")
	require.NoError(t, os.Mkdir(empty, 0o755))
	require.NoError(t, folder.Claim(empty))
	require.NoError(t, folder.Claim(empty), "claiming twice is claiming once")
	require.NoError(t, os.Mkdir(filepath.Join(empty, "store"), 0o755))
	publish(t, empty, files(t, "a.txt", "1"))
}

func TestPublishDoesNotFollowLinksOut(t *testing.T) {
	base := t.TempDir()
	outside := filepath.Join(base, "outside")
	require.NoError(t, os.Mkdir(outside, 0o755))
	dir := filepath.Join(base, "out")
	require.NoError(t, folder.Claim(dir))
	if err := os.Symlink(outside, filepath.Join(dir, "tables")); err != nil {
		t.Skip("no symbolic links here")
	}
	_, err := pipeline.Publish(dir, files(t, "tables/a.csv", "1"), folder)
	require.ErrorContains(t, err, "escapes")
	require.NoError(t, os.Remove(filepath.Join(dir, "tables")))
	require.NoError(t, os.Symlink(filepath.Join(outside, "x"), filepath.Join(dir, "a.csv")))
	_, err = pipeline.Publish(dir, files(t, "a.csv", "1"), folder)
	require.ErrorContains(t, err, "a folder or a link stands where a file is to be written")
	entries, err := os.ReadDir(outside)
	require.NoError(t, err)
	assert.Empty(t, entries)
}

func TestPublishChecksItsFiles(t *testing.T) {
	good := files(t, "a.txt", "1")
	named := func(name string) []pipeline.File {
		out := slices.Clone(good)
		out[0].Name = name
		return out
	}
	for want, f := range map[string][]pipeline.File{
		"the last file must be manifest.json":                       good[:1],
		`the name "../a" does not stay inside the folder`:           named("../a"),
		`the name "/a" does not stay inside the folder`:             named("/a"),
		`the name "c:a" does not stay inside the folder`:            named("c:a"),
		`the name "a\\b" does not stay inside the folder`:           named(`a\b`),
		`the name ".shop" begins with a dot`:                        named(".shop"),
		`the name "x/.y" begins with a dot`:                         named("x/.y"),
		"the manifest does not list b.txt":                          named("b.txt"),
		"the manifest lists 1 files, there are 0":                   good[1:],
		"reading the manifest: ":                                    {{Name: "manifest.json", Data: []byte("{")}},
		`the name "manifest.json" stands twice (upper and lower ca`: named("MANIFEST.json"),
	} {
		dir := filepath.Join(t.TempDir(), "out")
		_, err := pipeline.Publish(dir, f, folder)
		require.ErrorContains(t, err, want)
		assert.NoDirExists(t, dir)
	}
}

type noRoom struct{ atomicfile.File }

func (noRoom) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

func TestFullDiskLeavesTheFolderAsItWas(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	publish(t, dir, files(t, "a.txt", "1", "b.txt", "2"))
	before := tree(t, dir)
	full, written := folder, 0
	full.Through = func(f atomicfile.File) atomicfile.File {
		if written++; written > 1 {
			return noRoom{f}
		}
		return f
	}
	_, err := pipeline.Publish(dir, files(t, "a.txt", "new", "b.txt", "new"), full)
	require.ErrorIs(t, err, syscall.ENOSPC)
	assert.ErrorContains(t, err, "writing b.txt: ")
	assert.ErrorContains(t, err, "the disk is full")
	assert.Equal(t, before, tree(t, dir))
}

// killed stops a publishing after some renames, as a kill would: a folder stands in the way of c.txt
// from the moment the new files are written.
func killed(t *testing.T, dir string, f []pipeline.File) {
	t.Helper()
	block := folder
	writes := 0
	block.Through = func(file atomicfile.File) atomicfile.File {
		if writes++; writes == len(f) {
			require.NoError(t, os.MkdirAll(filepath.Join(dir, "c.txt", "x"), 0o755))
		}
		return file
	}
	_, err := pipeline.Publish(dir, f, block)
	require.ErrorContains(t, err, "giving c.txt its place")
	require.NoError(t, os.RemoveAll(filepath.Join(dir, "c.txt")))
}

func TestPublishAfterAKillEndsTheSame(t *testing.T) {
	first := files(t, "a.txt", "1", "old.txt", "1")
	second := files(t, "a.txt", "2", "b.txt", "2", "c.txt", "2", "d.txt", "2")
	for name, after := range map[string][]pipeline.File{"the same again": second, "another run": files(t, "a.txt", "3", "d.txt", "3", "old.txt", "3")} {
		t.Run(name, func(t *testing.T) {
			calm, hurt := filepath.Join(t.TempDir(), "out"), filepath.Join(t.TempDir(), "out")
			publish(t, calm, first)
			publish(t, calm, second)
			publish(t, calm, after)
			publish(t, hurt, first)
			killed(t, hurt, second)
			assert.Contains(t, tree(t, hurt), "b.txt: 2", "the kill left the folder half done")
			publish(t, hurt, after)
			assert.Equal(t, tree(t, calm), tree(t, hurt))
		})
	}
}

func TestOneRunAtATimePublishes(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	require.NoError(t, folder.Claim(dir))
	other, err := os.OpenFile(filepath.Join(dir, ".shop"), os.O_RDWR, 0)
	require.NoError(t, err)
	_, err = atomicfile.TryLock(other)
	require.NoError(t, err)
	_, err = pipeline.Publish(dir, files(t, "a.txt", "1"), folder)
	require.ErrorContains(t, err, "another run is writing into the folder")
	require.NoError(t, other.Close())
	publish(t, dir, files(t, "a.txt", "1"))
}

// Whatever was published before, what counts is the last.
func TestPublishProperty(t *testing.T) {
	base := t.TempDir()
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		draw := func(label string) []pipeline.File {
			chosen := rapid.MapOfN(rapid.SampledFrom([]string{"a", "b", "t/a", "t/b", "t/u/a", "v/a"}), rapid.SampledFrom([]string{"", "1", "2"}), 0, 6).Draw(t, label)
			var pairs []string
			for _, name := range []string{"a", "b", "t/a", "t/b", "t/u/a", "v/a"} {
				if text, ok := chosen[name]; ok {
					pairs = append(pairs, name, text)
				}
			}
			return files(t, pairs...)
		}
		n++
		used, fresh := filepath.Join(base, "used"+string(rune('a'+n%26)), "x"), filepath.Join(base, "fresh"+string(rune('a'+n%26)), "x")
		require.NoError(t, os.RemoveAll(used))
		require.NoError(t, os.RemoveAll(fresh))
		last := draw("last")
		for _, f := range [][]pipeline.File{draw("first"), draw("second"), last} {
			_, err := pipeline.Publish(used, f, folder)
			require.NoError(t, err)
		}
		_, err := pipeline.Publish(fresh, last, folder)
		require.NoError(t, err)
		require.Equal(t, tree(t, fresh), tree(t, used))
	})
}
