package bag

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The layout, written out as RFC 8493 has it (sections 2.1.1, 2.1.3, 2.2.1 and 2.2.2). The checksums are those that sha256sum
// (GNU coreutils 9.1) gave for the same texts.
func TestPackedText(t *testing.T) {
	var b bytes.Buffer
	payload := []File{{"b.txt", []byte("two\n")}, {"a.txt", []byte("one\n")}}
	identity, err := Pack(&b, "ridge-wire", payload, []Field{{"External-Description", "  Ridge\nwire\u202e "}})
	require.NoError(t, err)
	z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	require.NoError(t, err)
	got := map[string]string{}
	var names []string
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		data, err := io.ReadAll(r)
		require.NoError(t, err)
		got[f.Name] = string(data)
		names = append(names, f.Name)
		require.Equal(t, fs.FileMode(0o644), f.Mode())
		require.Empty(t, f.Extra)
		require.Empty(t, f.Comment)
		require.Zero(t, f.Flags)
		require.Equal(t, "1980-01-01T00:00:00Z", f.Modified.UTC().Format(time.RFC3339))
	}
	require.Equal(t, []string{"ridge-wire/bag-info.txt", "ridge-wire/bagit.txt", "ridge-wire/data/a.txt", "ridge-wire/data/b.txt",
		"ridge-wire/manifest-sha256.txt", "ridge-wire/tagmanifest-sha256.txt"}, names)
	require.Equal(t, "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", got["ridge-wire/bagit.txt"])
	require.Equal(t, "2c8b08da5ce60398e1f19af0e5dccc744df274b826abe585eaba68c525434806  data/a.txt\n"+
		"27dd8ed44a83ff94d557f9fd0412ed5a8cbca69ea04922d88c01184a07300a5a  data/b.txt\n", got["ridge-wire/manifest-sha256.txt"])
	require.Equal(t, "External-Description: Ridge wire\nPayload-Oxum: 8.2\nExternal-Identifier: "+identity+"\nFairlobe-Bundle-Format: 1\n",
		got["ridge-wire/bag-info.txt"])
	require.Equal(t, "sha256:"+sumOf([]byte(got["ridge-wire/manifest-sha256.txt"])), identity)
}

func TestPackIsDeterministic(t *testing.T) {
	first := packedGood()
	for range 3 {
		payload := samplePayload()
		slices.Reverse(payload)
		var b bytes.Buffer
		_, err := Pack(&b, "ridge-wire", payload, sampleInfo())
		require.NoError(t, err)
		require.Equal(t, first, b.Bytes())
	}
}

func TestIdentityDependsOnThePayloadAlone(t *testing.T) {
	var b bytes.Buffer
	identity, err := Pack(&b, "Other.Name_2", samplePayload(), []Field{{"X", "y"}})
	require.NoError(t, err)
	require.Equal(t, Identity(samplePayload()), identity)
	other := samplePayload()
	other[0].Name = "datapackage2.json"
	require.NotEqual(t, identity, Identity(other))
}

func TestPackRefuses(t *testing.T) {
	one := []File{{"a", []byte("x")}}
	many := make([]File, 997)
	for i := range many {
		many[i].Name = fmt.Sprint(i)
	}
	for _, c := range []struct {
		name    string
		payload []File
		info    []Field
		words   string
	}{
		{"", one, nil, "the name is empty"},
		{"ridge wire", one, nil, "has other characters"},
		{"grüße", one, nil, "has other characters"},
		{"..", one, nil, "does not begin with a letter"},
		{".hidden", one, nil, "does not begin with a letter"},
		{"a/b", one, nil, "has other characters"},
		{"NUL.wire", one, nil, "a device on Windows"},
		{"ridge.", one, nil, "ends with a dot"},
		{strings.Repeat("a", 65), one, nil, "longer than 64"},
		{"a", nil, nil, "nothing to pack"},
		{"a", many, nil, "1001 files are too many"},
		{"a", []File{{"a", nil}, {"a", nil}}, nil, "stands twice"},
		{"a", []File{{"a", nil}, {"a/b", nil}}, nil, "of a file and of a folder"},
		{"a", []File{{"A", nil}}, nil, "has other characters"},
		{"a", []File{{"../a", nil}}, nil, "leads out of its folder"},
		{"a", []File{{"", nil}}, nil, "an empty part"},
		{"a", []File{{"a/", nil}}, nil, "an empty part"},
		{"a", []File{{"a.zip", nil}}, nil, "is a zip"},
		{"a", []File{{"a", []byte("PK\x03\x04")}}, nil, "is a zip"},
		{"a", []File{{"a", make([]byte, 253<<20)}}, nil, "256.0 MiB at most"},
		{"a", one, []Field{{"Two words", "x"}}, "is no label"},
		{"a", one, []Field{{"X", "x"}, {"X", "y"}}, "stands twice"},
		{"a", one, []Field{{OxumLabel, "x"}}, "stands twice"},
		{"a", one, []Field{{"X", " \n"}}, "has no value"},
		{"a", one, []Field{{FormatLabel, "2"}}, "no bundle format 2"},
		{"a", one, []Field{{"X", strings.Repeat("x", maxInfo)}}, "takes 65536 at most"},
	} {
		var b bytes.Buffer
		_, err := Pack(&b, c.name, c.payload, c.info)
		require.ErrorContains(t, err, c.words)
		require.Zero(t, b.Len())
	}
}

// What shrinks like a bomb is stored, so that it can be read again.
func TestHonestZeros(t *testing.T) {
	payload := []File{{"zeros", make([]byte, 2<<20)}}
	var b bytes.Buffer
	_, err := Pack(&b, "a", payload, nil)
	require.NoError(t, err)
	got, err := read(b.Bytes())
	require.NoError(t, err)
	data, found := got.File("zeros")
	require.True(t, found)
	require.Len(t, data, 2<<20)
}

// A bag that was unpacked and packed again by an ordinary program has entries for folders, times, sizes behind the data.
func TestPackedAgain(t *testing.T) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, dir := range []string{"ridge-wire/", "ridge-wire/data/", "ridge-wire/data/tables/"} {
		h := &zip.FileHeader{Name: dir, Modified: time.Date(2026, 9, 13, 4, 0, 0, 0, time.UTC)}
		h.SetMode(fs.ModeDir | 0o755)
		_, err := z.CreateHeader(h)
		require.NoError(t, err)
	}
	for name, text := range bagFiles() {
		h := &zip.FileHeader{Name: "ridge-wire/" + name, Method: zip.Deflate, Modified: time.Date(2026, 9, 13, 4, 0, 0, 0, time.UTC)}
		h.SetMode(0o600)
		w, err := z.CreateHeader(h)
		require.NoError(t, err)
		_, err = io.WriteString(w, text)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	got, err := read(b.Bytes())
	require.NoError(t, err)
	require.Equal(t, Identity(samplePayload()), got.Identity())
}

func payloads() *rapid.Generator[[]File] {
	return rapid.Custom(func(t *rapid.T) []File {
		names := rapid.SliceOfNDistinct(rapid.StringMatching(`[a-b]{1,2}/[a-z0-9][a-z0-9._-]{0,8}[a-z0-9]`), 1, 6, rapid.ID).Draw(t, "names")
		var out []File
		for _, name := range names {
			out = append(out, File{name, rapid.SliceOfN(rapid.Byte(), 0, 300).Draw(t, "data")})
		}
		return out
	})
}

// Pack, then Read: the same files, labels and identity.
func TestThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		payload := payloads().Draw(t, "payload")
		title := rapid.StringN(1, 40, -1).Draw(t, "title")
		var b bytes.Buffer
		identity, err := Pack(&b, "ridge-wire", payload, []Field{{"External-Description", "x" + title}})
		if err != nil {
			t.Skip("a device's name, or the first bytes of a zip: ", err)
		}
		got, err := read(b.Bytes())
		require.NoError(t, err)
		require.Equal(t, "ridge-wire", got.Name())
		require.Equal(t, identity, got.Identity())
		require.Equal(t, identity, got.Info(IdentifierLabel))
		require.Equal(t, oneLine("x"+title), got.Info("External-Description"))
		require.Len(t, got.Names(), len(payload))
		for _, f := range payload {
			data, found := got.File(f.Name)
			require.True(t, found)
			require.True(t, bytes.Equal(f.Data, data))
		}
		_, found := got.File("not there")
		require.False(t, found)
		require.Empty(t, got.Info("not there"))
	})
}

// handedOut is all that a bag tells.
func handedOut(b *Bag) string {
	var out strings.Builder
	fmt.Fprintf(&out, "%q %q %q\n", b.Name(), b.Identity(), b.Fields())
	for _, name := range b.Names() {
		data, _ := b.File(name)
		fmt.Fprintf(&out, "%q %q\n", name, data)
	}
	return out.String()
}

// Every byte of a bundle, changed in one bit or all: refused, or nothing that is handed out is other. The second happens
// in what no reader uses, such as dates.
func TestOneByteChanged(t *testing.T) {
	good := packedGood()
	b, err := read(good)
	require.NoError(t, err)
	want := handedOut(b)
	passed := 0
	flips := []byte{0xff, 0x01, 0x20, 0x80}
	if testing.Short() {
		flips = flips[:1]
	}
	for i := range good {
		for _, flip := range flips {
			bad := slices.Clone(good)
			bad[i] ^= flip
			b, err := read(bad)
			if err == nil {
				passed++
				require.Equal(t, want, handedOut(b), "byte %d", i)
			}
		}
	}
	require.Positive(t, passed, "a date may be other")
	require.Less(t, passed, len(good)*len(flips)/4, "most changes are refused")
}

// Every beginning of a bundle is refused.
func TestEveryCut(t *testing.T) {
	good := packedGood()
	for n := range good {
		_, err := read(good[:n])
		require.Error(t, err)
	}
}

func goodBag(t testing.TB) *Bag {
	t.Helper()
	b, err := read(packedGood())
	require.NoError(t, err)
	return b
}

func TestExtract(t *testing.T) {
	world := t.TempDir()
	b := goodBag(t)
	fresh, empty := filepath.Join(world, "fresh"), filepath.Join(world, "empty")
	require.NoError(t, os.Mkdir(empty, 0o700))
	for _, dir := range []string{fresh, empty} {
		require.NoError(t, WriteFolder(context.Background(), dir, b.Files()))
		for name, want := range bagFiles() {
			got, err := os.ReadFile(filepath.Join(dir, name))
			require.NoError(t, err)
			require.Equal(t, want, string(got))
		}
	}
	entries, err := os.ReadDir(world)
	require.NoError(t, err)
	require.Len(t, entries, 2, "nothing is left beside the folders")
	info, err := os.Stat(empty)
	require.NoError(t, err)
	require.Equal(t, fs.FileMode(0o700), info.Mode().Perm(), "an empty folder keeps its rights")
}

func TestExtractRefusesTargets(t *testing.T) {
	world := t.TempDir()
	full, file, link := filepath.Join(world, "full"), filepath.Join(world, "file"), filepath.Join(world, "link")
	here := filepath.Join(world, "here")
	require.NoError(t, os.MkdirAll(filepath.Join(full, "log"), 0o755))
	require.NoError(t, os.Mkdir(here, 0o755))
	require.NoError(t, os.WriteFile(file, []byte("mine"), 0o644))
	require.NoError(t, os.Symlink(here, link))
	t.Chdir(here)
	before := snapshot(t, world)
	for _, c := range []struct{ dir, code, words string }{
		{full, CodeTargetTaken, `not empty (it holds "log")`},
		{file, CodeTargetNoFolder, "a file or a link stands"},
		{link, CodeTargetNoFolder, "a file or a link stands"},
		{".", CodeTargetHere, "the folder that you are in"},
		{filepath.Join(world, "no", "such"), CodeTargetParent, "no such file or directory"},
		{filepath.Join(file, "below"), CodeTargetParent, "not a directory"},
		{string(filepath.Separator), CodeTargetTaken, "the top of the disk"},
	} {
		requireRefused(t, WriteFolder(context.Background(), c.dir, goodBag(t).Files()), c.dir, c.code, c.words)
		require.Equal(t, before, snapshot(t, world))
	}
}

// Even if a name slipped through all checks, nothing is written outside the target and nothing is left.
func TestExtractStaysInside(t *testing.T) {
	world := t.TempDir()
	inbox := filepath.Join(world, "inbox")
	require.NoError(t, os.Mkdir(inbox, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(world, "evil"), []byte("mine"), 0o644))
	before := snapshot(t, world)
	for _, name := range []string{"../../../evil", "../../evil", "../../../inbox/evil", filepath.Join(world, "evil"), "../../.."} {
		b := goodBag(t)
		b.payload = append(b.payload, File{name, []byte("theirs")})
		if filepath.IsAbs(name) {
			b.tags = append(b.tags, File{name, []byte("theirs")})
		}
		err := WriteFolder(context.Background(), filepath.Join(inbox, "target"), b.Files())
		if err == nil {
			t.Fatalf("%q was written", name)
		}
		require.Equal(t, before, snapshot(t, world), name)
	}
}

func TestWriteFolder(t *testing.T) {
	world := t.TempDir()
	dir := filepath.Join(world, "repeat")
	files := append([]File{{"log/", nil}, {"a.toml", []byte("x")}}, goodBag(t).Files()...)
	require.NoError(t, WriteFolder(t.Context(), dir, files))
	require.DirExists(t, filepath.Join(dir, "log"))
	for _, f := range files[1:] {
		data, err := os.ReadFile(filepath.Join(dir, f.Name))
		require.NoError(t, err)
		require.Equal(t, string(f.Data), string(data))
	}
	before := snapshot(t, world)
	require.Error(t, WriteFolder(t.Context(), filepath.Join(world, "other"), []File{{"a", nil}, {"../../evil/", nil}}))
	require.Equal(t, before, snapshot(t, world))
}

// A disk that is full, or any other failure in the middle, leaves nothing.
func TestExtractFailsInTheMiddle(t *testing.T) {
	world := t.TempDir()
	target := filepath.Join(world, "target")
	require.NoError(t, os.Mkdir(target, 0o755))
	before := snapshot(t, world)
	b := goodBag(t)
	b.payload = append(b.payload, b.payload[0]) // the same name again can't be made
	require.ErrorIs(t, WriteFolder(context.Background(), target, b.Files()), fs.ErrExist)
	require.Equal(t, before, snapshot(t, world))
}

// counted is a context that ends after so many questions.
type counted struct {
	context.Context
	left int
}

func (c *counted) Err() error {
	if c.left--; c.left < 0 {
		return context.Canceled
	}
	return nil
}

func TestExtractInterrupted(t *testing.T) {
	world := t.TempDir()
	before := snapshot(t, world)
	b := goodBag(t)
	questions := len(b.tags) + len(b.payload) + 1
	for n := range questions {
		err := WriteFolder(&counted{context.Background(), n}, filepath.Join(world, "target"), b.Files())
		require.ErrorIs(t, err, context.Canceled)
		require.Equal(t, before, snapshot(t, world))
	}
	require.NoError(t, WriteFolder(&counted{context.Background(), questions}, filepath.Join(world, "target"), b.Files()))
}

// An independent program finds the checksums right, and finds a wrong one. FAIRLOBE_SHA256SUM=required makes a missing sha256sum
// a failure.
func TestSha256sum(t *testing.T) {
	program, err := exec.LookPath("sha256sum")
	if err != nil {
		if os.Getenv("FAIRLOBE_SHA256SUM") == "required" {
			t.Fatal("FAIRLOBE_SHA256SUM=required, and there is no sha256sum")
		}
		t.Skip("no sha256sum: the manifests are not read by another program")
	}
	dir := filepath.Join(t.TempDir(), "ridge-wire")
	require.NoError(t, WriteFolder(context.Background(), dir, goodBag(t).Files()))
	check := func(manifest string) (string, error) {
		cmd := exec.Command(program, "--check", "--strict", "--quiet", manifest)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	for _, manifest := range []string{manifestFile, tagmanifestFile} {
		out, err := check(manifest)
		require.NoError(t, err, out)
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "data", "looks.csv"), []byte("x"), 0o644))
	var exit *exec.ExitError
	out, err := check(manifestFile)
	require.True(t, errors.As(err, &exit), out)
	require.Contains(t, out, "data/looks.csv: FAILED")
}
