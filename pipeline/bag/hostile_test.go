package bag

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/diag"
)

// hostile is one bundle that must be refused.
type hostile struct {
	name  string
	code  string
	words string // in the message
	data  func() []byte
}

func ptr[T any](v T) *T { return &v }

func added(name string) func() []byte {
	return func() []byte { return with(forged{name: name, data: []byte("x")}).bytes() }
}

func replaced(file, from, to string) func() []byte {
	return func() []byte {
		return spoilt(func(files map[string]string) {
			if !strings.Contains(files[file], from) {
				panic(fmt.Sprintf("%s does not hold %q", file, from))
			}
			files[file] = strings.Replace(files[file], from, to, 1)
		}).bytes()
	}
}

func without(file string) func() []byte {
	return func() []byte { return spoilt(func(files map[string]string) { delete(files, file) }).bytes() }
}

func altered(name string, change func(*forged)) func() []byte {
	return func() []byte { return changed(name, change).bytes() }
}

func whole(change func(*forgery)) func() []byte {
	return func() []byte {
		z := spoilt(func(map[string]string) {})
		change(&z)
		return z.bytes()
	}
}

func packedGood() []byte {
	var b bytes.Buffer
	if _, err := Pack(&b, "ridge-wire", samplePayload(), sampleInfo()); err != nil {
		panic(err)
	}
	return b.Bytes()
}

// longPayload adds a file with everything else as it should be.
func longPayload(name, data string) func() []byte {
	return func() []byte {
		return spoilt(func(files map[string]string) {
			files[payloadDir+name] = data
			relisted(files)
		}).bytes()
	}
}

func hostiles() []hostile {
	return []hostile{
		// What is no zip, or no whole one.
		{"empty file", CodeEmpty, "the file is empty", func() []byte { return nil }},
		{"text instead of a zip", CodeNoZip, "the file is no zip", func() []byte { return []byte("fairlobe = 1\n") }},
		{"long text instead of a zip", CodeNoZip, "the file is no zip", func() []byte {
			return bytes.Repeat([]byte("no zip at all\n"), 1<<14)
		}},
		{"gzip instead of a zip", CodeNoZip, "the file is no zip", func() []byte {
			return append([]byte("\x1f\x8b\x08\x00"), make([]byte, 64)...)
		}},
		{"cut in the middle", CodeCut, "it is cut off", func() []byte { d := packedGood(); return d[:len(d)/2] }},
		{"cut before the end record", CodeCut, "it is cut off", func() []byte { d := packedGood(); return d[:len(d)-endLength] }},
		{"cut by one byte", CodeCut, "cut off in its last bytes", func() []byte { d := packedGood(); return d[:len(d)-1] }},
		{"without its beginning", CodeBroken, "runs into its end", func() []byte { return packedGood()[100:] }},
		{"a zip with nothing in it", CodeNoBagit, "the zip holds nothing", func() []byte { return forgery{}.bytes() }},
		{"directory overwritten", CodeBroken, "damaged at entry 1", func() []byte {
			d := packedGood()
			copy(d[bytes.Index(d, []byte("PK\x01\x02")):], "XXXX")
			return d
		}},
		{"directory shorter than its count", CodeBroken, "damaged at entry 10", whole(func(z *forgery) { z.entries = ptr(uint16(10)) })},
		{"directory longer than its count", CodeExtraBytes, "bytes that belong to no file", whole(func(z *forgery) {
			z.entries = ptr(uint16(8))
		})},
		{"local header overwritten", CodeBroken, "there is no file where", func() []byte {
			d := packedGood()
			copy(d, "XXXX")
			return d
		}},

		// What is hidden in or around the zip.
		{"program before the zip", CodeExtraBytes, "bytes before its first file", whole(func(z *forgery) {
			z.before = []byte("MZ run me")
		})},
		{"bytes behind the zip", CodeExtraBytes, "3 bytes follow the end", whole(func(z *forgery) { z.after = []byte("end") })},
		{"cut inside its comment", CodeCut, "cut off in its comment", func() []byte {
			d := forgery{files: []forged{{name: "ridge-wire/bagit.txt"}}, comment: "hello"}.bytes()
			return d[:len(d)-1]
		}},
		{"another zip behind the zip", CodeExtraBytes, "bytes before its first file", func() []byte {
			return slices.Concat(packedGood(), packedGood())
		}},
		{"bytes between files and directory", CodeExtraBytes, "belong to no file", whole(func(z *forgery) {
			z.between = []byte("hidden")
		})},
		{"comment of the zip", CodeComment, "the zip carries a comment", whole(func(z *forgery) { z.comment = "hello" })},
		{"end record inside the comment", CodeExtraBytes, "bytes before its first file", whole(func(z *forgery) {
			z.comment = string(forgery{}.bytes())
		})},
		{"comment of a file", CodeComment, "carries a comment", altered(bagitFile, func(f *forged) { f.comment = "hello" })},
		{"bytes behind the end of a deflated file", CodeSize, "4 bytes follow the end", altered(bagitFile, func(f *forged) {
			f.packed = append(deflated(f.data), "more"...)
		})},
		{"two files in the same bytes", CodeOverlap, "shares bytes of the zip", func() []byte {
			return with(forged{name: "ridge-wire/data/zz", data: []byte(bagFiles()[infoFile]), method: methodDeflate, onlyListed: true}).bytes()
		}},
		{"file that runs over the next one", CodeOverlap, "shares bytes of the zip", func() []byte {
			// Quoted headers (D. Fifield, A better zip bomb, WOOT 2019): the first file holds the second with its header.
			b := forged{name: "ridge-wire/data/b", data: []byte("b")}
			a := forged{name: "ridge-wire/data/a", data: forgery{files: []forged{b}}.bytes()[:localLength+len(b.name)+len(b.data)]}
			b.onlyListed, b.offset = true, uint32(localLength+len(a.name))
			return forgery{files: []forged{a, b}}.bytes()
		}},
		{"last file that runs into the directory", CodeOverlap, "with its directory", func() []byte {
			a := forged{name: "ridge-wire/data/a", data: []byte("a")}
			b := a
			b.data, b.onlyListed = bytes.Repeat([]byte("a"), 40), true
			return forgery{files: []forged{b}, between: forgery{files: []forged{a}}.bytes()[:localLength+len(a.name)+1]}.bytes()
		}},
		{"file that begins in the directory", CodeBroken, "begin behind the zip's directory", func() []byte {
			a := forged{name: "ridge-wire/data/a", data: []byte("a")}
			b := forged{name: "ridge-wire/data/b", onlyListed: true, offset: uint32(localLength + len(a.name) + len(a.data))}
			return forgery{files: []forged{a, b}}.bytes()
		}},
		{"several parts", CodeFeature, "in several parts", whole(func(z *forgery) { z.disk = 1 })},
		{"zip64", CodeFeature, "zip64", whole(func(z *forgery) { z.entries = ptr(uint16(0xffff)) })},
		{"zip64 field of a file", CodeFeature, "extra field 0x0001", altered(bagitFile, func(f *forged) {
			f.extra = []byte{1, 0, 8, 0, 1, 0, 0, 0, 0, 0, 0, 0}
		})},
		{"damaged extra field", CodeBroken, "damaged extra field", altered(bagitFile, func(f *forged) {
			f.extra = []byte{0x55, 0x54, 200, 0, 1}
		})},
		{"unknown flag", CodeFeature, "uses a feature of zip", altered(bagitFile, func(f *forged) { f.flags = 1 << 5 })},
		{"encrypted file", CodeEncrypted, "is encrypted", altered("data/experiment.toml", func(f *forged) { f.flags = 1 })},
		{"other method", CodeMethod, "by a method that no bundle uses (number 14)", altered("data/experiment.toml", func(f *forged) {
			f.method, f.packed = 14, f.data
		})},

		// Bombs, and sizes that are not what they say.
		{"bomb by its ratio", CodeBomb, "a bomb", longPayload("tables/zeros.csv", strings.Repeat("\x00", 2<<20))},
		{"bomb by its declared size", CodeUnpacked, "would take", altered("data/experiment.toml", func(f *forged) {
			f.method, f.packed, f.declared = methodStore, f.data, ptr(int64(3<<30))
		})},
		{"bomb that declares little", CodeSize, "longer than the 13 bytes it declares", altered("data/experiment.toml", func(f *forged) {
			f.packed = deflated(make([]byte, 2<<20))
		})},
		{"bomb by count", CodeMembers, "holds 1200 files", func() []byte {
			var z forgery
			for i := range 1200 {
				z.files = append(z.files, forged{name: fmt.Sprintf("ridge-wire/data/%d", i)})
			}
			return z.bytes()
		}},
		{"stored file with two sizes", CodeSize, "declares two sizes", altered(bagitFile, func(f *forged) {
			f.method, f.declared = methodStore, ptr(int64(7))
		})},
		{"file shorter than it declares", CodeSize, "shorter (13) than the 40 bytes it declares", altered("data/experiment.toml", func(f *forged) {
			f.declared = ptr(int64(40))
		})},
		{"size differs between header and directory", CodeHeaders, "tell different things", altered("data/experiment.toml", func(f *forged) {
			f.sizeInDir = ptr(int64(12))
		})},
		{"wrong CRC-32", CodeDamaged, "CRC-32", altered("data/experiment.toml", func(f *forged) { f.crc = ptr(uint32(1)) })},
		{"damaged deflate", CodeDamaged, "is damaged", altered("data/tables/cells.csv", func(f *forged) {
			f.packed = bytes.Repeat([]byte{0xff}, 40)
		})},
		{"folder with content", CodeSize, "has content", func() []byte {
			return with(forged{name: "ridge-wire/data/tables/", data: []byte("x"), attr: 0o040755 << 16}).bytes()
		}},
		{"zip in zip by its name", CodeNestedArchive, "a zip inside the zip", longPayload("more.zip", "x")},
		{"zip in zip by its first bytes", CodeNestedArchive, "a zip inside the zip", longPayload("more.bin", string(packedGood()))},

		// Links and special files.
		{"symbolic link", CodeLink, "is a link", func() []byte {
			return with(forged{name: "ridge-wire/data/link", data: []byte("/etc/passwd"), attr: 0o120777 << 16}).bytes()
		}},
		{"symbolic link by the attributes of Windows", CodeLink, "is a link", func() []byte {
			return with(forged{name: "ridge-wire/data/link", data: []byte(`C:\`), attr: dosReparse}).bytes()
		}},
		{"hard link", CodeLink, "hard or symbolic link", altered("data/experiment.toml", func(f *forged) {
			f.extra = append([]byte{0x0d, 0x00, 22, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0}, "/etc/shadow"[:10]...)
		})},
		{"device", CodeSpecial, "neither a file nor a folder", func() []byte {
			return with(forged{name: "ridge-wire/data/disk", attr: 0o060660 << 16}).bytes()
		}},
		{"pipe", CodeSpecial, "neither a file nor a folder", func() []byte {
			return with(forged{name: "ridge-wire/data/pipe", attr: 0o010644 << 16}).bytes()
		}},
		{"set-user-id program", CodeSpecial, "rights of another user", func() []byte {
			return with(forged{name: "ridge-wire/data/run", attr: 0o104755 << 16}).bytes()
		}},
		{"folder that looks like a file", CodeSpecial, "the other way round", func() []byte {
			return with(forged{name: "ridge-wire/data/run", attr: 0o040755 << 16}).bytes()
		}},

		// Names.
		{"traversal", CodeTraversal, "leads out of its folder", added("ridge-wire/data/../../../evil")},
		{"traversal in the first part", CodeTraversal, "leads out of its folder", added("../evil")},
		{"dot as a part", CodeTraversal, "leads out of its folder", added("ridge-wire/./data/evil")},
		{"absolute name", CodeAbsolute, "begins at the top of the disk", added("/etc/cron.d/evil")},
		{"two slashes", CodeAbsolute, "begins at the top of the disk", added("//server/share/evil")},
		{"drive letter", CodeDrive, "letter of a drive", added("C:/evil")},
		{"drive letter further in", CodeDrive, "letter of a drive", added("ridge-wire/data/C:evil")},
		{"backslashes", CodeBackslash, "holds a backslash", added(`ridge-wire\data\..\..\evil`)},
		{"NUL in a name", CodeNameCharacters, "has other characters", added("ridge-wire/data/a.csv\x00.exe")},
		{"line feed in a name", CodeNameCharacters, "has other characters", added("ridge-wire/data/a\nb")},
		{"right-to-left override in a name", CodeNameCharacters, `\u202e`, added("ridge-wire/data/a\u202efdp.exe")},
		{"stream of a file", CodeNameCharacters, "has other characters", added("ridge-wire/data/experiment.toml:hidden")},
		{"empty part", CodeNameCharacters, "has an empty part", added("ridge-wire/data//evil")},
		{"hidden file", CodeNameCharacters, "begins with a dot", added("ridge-wire/data/.profile")},
		{"name like an option", CodeNameCharacters, "begins with a dot or a dash", added("ridge-wire/data/-rf")},
		{"device of Windows", CodeDevice, "a device on Windows", added("ridge-wire/data/con.csv")},
		{"serial port of Windows", CodeDevice, "a device on Windows", added("ridge-wire/data/com1")},
		{"dot at the end", CodeNameEnding, "ends with a dot or a space", added("ridge-wire/data/evil.")},
		{"space at the end", CodeNameEnding, "ends with a dot or a space", added("ridge-wire/data/evil ")},
		{"name too long", CodeLongName, "longer than 200", added("ridge-wire/data/" + strings.Repeat("a", 60000))},
		{"name of thousands of folders", CodeLongName, "longer than 200", added("ridge-wire/data/" + strings.Repeat("a/", 30000) + "a")},
		{"part too long", CodeLongName, "longer than 100", added("ridge-wire/data/" + strings.Repeat("a", 101))},
		{"too deep", CodeDeepName, "folders deep", added("ridge-wire/data/a/b/c/d/e/f")},
		{"name twice", CodeTwice, "stands twice in the zip", added("ridge-wire/data/experiment.toml")},
		{"names that differ in case only", CodeClash, "one and the same on many systems", added("ridge-wire/data/Experiment.TOML")},
		{"file and folder of one name", CodeClash, "a file and of a folder", added("ridge-wire/data/experiment.toml/x")},
		{"another name in the local header", CodeHeaders, "the file itself says", altered("data/experiment.toml", func(f *forged) {
			f.localName = "ridge-wire/data/../../../ex"
		})},
		{"second name in an extra field", CodeHeaders, "a second name", altered(bagitFile, func(f *forged) {
			f.extra = []byte{0x75, 0x70, 6, 0, 1, 0, 0, 0, 0, 'x'}
		})},
		{"file in no folder", CodeTopFolder, "lies in no folder", added("readme")},
		{"two folders", CodeTopFolder, "holds two folders", added("other/data/x")},
		{"litter of a file manager", CodeTopFolder, "does not begin with the name of an experiment", added("__MACOSX/ridge-wire/bagit.txt")},
		{"folder with a hostile name", CodeTopFolder, "does not begin with a letter or a digit", func() []byte {
			z := spoilt(func(map[string]string) {})
			for i := range z.files {
				z.files[i].name = "-rf" + strings.TrimPrefix(z.files[i].name, "ridge-wire")
			}
			return z.bytes()
		}},

		// The bag.
		{"fetch.txt", CodeFetch, "load files from elsewhere", added("ridge-wire/fetch.txt")},
		{"a file beside data", CodeUnexpected, "is no part of it", added("ridge-wire/setup.exe")},
		{"bagit.txt missing", CodeNoBagit, "there is no bagit.txt", without(bagitFile)},
		{"bag of another version", CodeBagitVersion, `version "0.97"`, replaced(bagitFile, "1.0", "0.97")},
		{"bag in another encoding", CodeBagitEncoding, `written in "UTF-16"`, replaced(bagitFile, "UTF-8", "UTF-16")},
		{"bagit.txt with a line more", CodeBagit, "is not the two lines", replaced(bagitFile, "BagIt", "Hello\nBagIt")},
		{"bag-info.txt missing", CodeNoInfo, "there is no bag-info.txt", without(infoFile)},
		{"bag-info.txt without labels", CodeInfo, `is not "Label: value"`, replaced(infoFile, ": ", " = ")},
		{"control characters in bag-info.txt", CodeInfo, `is not "Label: value"`, replaced(infoFile, "Ridge", "\x1b[2JRidge")},
		{"label twice", CodeInfo, "stands twice", replaced(infoFile, "Bag-Software-Agent", "Payload-Oxum: 1.1\nPayload-Oxum")},
		{"bag-info.txt too long", CodeInfo, "longer than 65536 bytes", replaced(infoFile, "Ridge", strings.Repeat("R", maxInfo))},
		{"no format", CodeNoFormat, "Fairlobe-Bundle-Format is missing", replaced(infoFile, FormatLabel+": 1\n", "")},
		{"format that is none", CodeFormat, `"one" is no bundle format`, replaced(infoFile, FormatLabel+": 1", FormatLabel+": one")},
		{"format of the future", CodeNewerFormat, "made by a newer version of fairlobe", func() []byte {
			// It may have other rules, and still this is what must be told.
			return spoilt(func(files map[string]string) {
				files[infoFile] = strings.Replace(files[infoFile], FormatLabel+": 1", FormatLabel+": 2", 1) + "other rules\n"
				delete(files, manifestFile)
				files["manifest-sha512.txt"] = ""
			}).bytes()
		}},
		{"manifest missing", CodeNoManifest, "there is no list of checksums (manifest-sha256.txt)", without(manifestFile)},
		{"tagmanifest missing", CodeNoManifest, "there is no list of checksums (tagmanifest-sha256.txt)", without(tagmanifestFile)},
		{"manifest of another algorithm only", CodeManifestAlgorithm, "another kind (md5)", func() []byte {
			return spoilt(func(files map[string]string) {
				delete(files, manifestFile)
				files["manifest-md5.txt"] = "d41d8cd98f00b204e9800998ecf8427e  data/looks.csv\n"
			}).bytes()
		}},
		{"second manifest", CodeUnexpected, "a second list of checksums", added("ridge-wire/manifest-md5.txt")},
		{"nothing in data", CodeNoPayload, "there is nothing in", func() []byte {
			return spoilt(func(files map[string]string) {
				for name := range files {
					if strings.HasPrefix(name, payloadDir) {
						delete(files, name)
					}
				}
			}).bytes()
		}},
		{"malformed line in the manifest", CodeManifestLine, "is not a SHA-256", replaced(manifestFile, "  data/", " data/")},
		{"upper case in the manifest", CodeManifestLine, "is not a SHA-256", func() []byte {
			return spoilt(func(files map[string]string) {
				files[manifestFile] = strings.ToUpper(files[manifestFile][:64]) + files[manifestFile][64:]
			}).bytes()
		}},
		{"carriage returns in the manifest", CodeManifestLine, "is not a SHA-256", replaced(manifestFile, "\n", "\r\n")},
		{"no line feed at the manifest's end", CodeManifestLine, "is not a SHA-256", replaced(manifestFile, "cells.parquet\n", "cells.parquet")},
		{"line twice in the manifest", CodeManifestTwice, "stands twice", func() []byte {
			return spoilt(func(files map[string]string) { files[manifestFile] += files[manifestFile] }).bytes()
		}},
		{"manifest with a file that is not there", CodeNoSuchFile, `no such file: "data/gone.csv"`, replaced(manifestFile, "looks.csv", "gone.csv")},
		{"manifest that leads out of the bag", CodeNoSuchFile, "no such file", replaced(manifestFile, "data/looks.csv", "data/../../../etc/passwd")},
		{"payload file missing", CodeNoSuchFile, `no such file: "data/looks.csv"`, without("data/looks.csv")},
		{"payload file more", CodeNotListed, "in the bundle and not in the list", added("ridge-wire/data/tables/extra.csv")},
		{"payload file changed", CodeChecksum, "its SHA-256 is another", replaced("data/experiment.toml", "= 1", "= 2")},
		{"tag file changed", CodeChecksum, "its SHA-256 is another", altered(infoFile, func(f *forged) {
			f.data = bytes.Replace(f.data, []byte("Ridge"), []byte("Fridge"), 1)
		})},
		{"manifest of very many lines", CodeManifestLine, "is not a SHA-256", func() []byte {
			return spoilt(func(files map[string]string) { files[manifestFile] = strings.Repeat("\n", 1<<19) }).bytes()
		}},
		{"payload file in the tagmanifest", CodeNoSuchFile, "no such file", replaced(tagmanifestFile, "  bagit.txt", "  data/looks.csv")},
		{"tag file not in the tagmanifest", CodeNotListed, "in the bundle and not in the list", func() []byte {
			return spoilt(func(files map[string]string) {
				_, files[tagmanifestFile], _ = strings.Cut(files[tagmanifestFile], "\n")
			}).bytes()
		}},
		{"manifest in another order", CodeManifestOrder, "not sorted by name", func() []byte {
			return spoilt(func(files map[string]string) {
				lines := strings.SplitAfter(files[manifestFile], "\n")
				lines[0], lines[1] = lines[1], lines[0]
				files[manifestFile] = strings.Join(lines, "")
			}).bytes()
		}},
		{"wrong Payload-Oxum", CodeOxum, "the payload has", replaced(infoFile, OxumLabel+": 1", OxumLabel+": 2")},
		{"wrong External-Identifier", CodeIdentifier, "the payload's identity is", replaced(infoFile, IdentifierLabel+": sha256:", IdentifierLabel+": sha256:0")},
	}
}

func TestHostileBundles(t *testing.T) {
	list := hostiles()
	require.GreaterOrEqual(t, len(list), 30)
	seen := map[string]bool{}
	for _, h := range list {
		require.False(t, seen[h.name], "two cases are called %q", h.name)
		seen[h.name] = true
		t.Run(h.name, func(t *testing.T) {
			world := t.TempDir()
			inbox := filepath.Join(world, "inbox")
			require.NoError(t, os.Mkdir(inbox, 0o755))
			path := filepath.Join(inbox, "bundle.zip")
			require.NoError(t, os.WriteFile(path, h.data(), 0o644))
			require.NoError(t, os.WriteFile(filepath.Join(world, "evil"), []byte("mine"), 0o644))
			before := snapshot(t, world)

			target := filepath.Join(inbox, "target")
			b, err := Open(path, Limits{})
			if err == nil {
				err = WriteFolder(context.Background(), target, b.Files()) // as receive does
			}
			requireRefused(t, err, path, h.code, h.words)
			require.Nil(t, b)
			require.Equal(t, before, snapshot(t, world))
			require.NoDirExists(t, target)
		})
	}
}

// requireRefused wants the code, the words and a mend, and that nothing in the text can take hold of a terminal.
func requireRefused(t *testing.T, err error, path, code, words string) {
	t.Helper()
	var list diag.List
	require.True(t, errors.As(err, &list), "%v", err)
	found := false
	for _, d := range list {
		require.True(t, d.Pos.File == path || strings.HasPrefix(d.Pos.File, path+string(filepath.Separator)), d.Pos.File)
		require.NotEmpty(t, d.Code)
		require.NotEmpty(t, d.Mend, d.Msg)
		require.Less(t, len(d.Msg), 400)
		require.False(t, strings.ContainsFunc(d.Msg, func(r rune) bool { return r < ' ' || r == 0x7f || r == '\u202e' }), "%q", d.Msg)
		found = found || d.Code == code && strings.Contains(d.Msg, words)
	}
	require.True(t, found, "no %s with %q in:\n%v", code, words, err)
}

// snapshot tells all that stands below a folder: kinds, modes, targets of links, bytes.
func snapshot(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := os.Lstat(path)
		if err != nil {
			return err
		}
		what := info.Mode().String()
		switch {
		case info.Mode()&fs.ModeSymlink != 0:
			to, err := os.Readlink(path)
			if err != nil {
				return err
			}
			what += " " + to
		case info.Mode().IsRegular():
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			what += " " + sumOf(data)
		}
		out[path] = what
		return nil
	}))
	return out
}

// What is no file at all.
func TestOpenWhatIsNoFile(t *testing.T) {
	dir := t.TempDir()
	_, err := Open(dir, Limits{})
	requireRefused(t, err, dir, CodeFolder, "this is a folder")
	missing := filepath.Join(dir, "missing.zip")
	_, err = Open(missing, Limits{})
	requireRefused(t, err, missing, CodeMissing, "there is no such file")
	_, err = Open(os.DevNull, Limits{})
	requireRefused(t, err, os.DevNull, CodeNoFile, "no ordinary file")
}

func TestOpenUnreadable(t *testing.T) {
	if os.Geteuid() == 0 {
		// The superuser may read everything, so a broken reader stands in.
		_, err := Read(iotestReader{}, 1000, "bundle.zip", Limits{})
		requireRefused(t, err, "bundle.zip", CodeUnreadable, "can't be read")
		return
	}
	path := filepath.Join(t.TempDir(), "bundle.zip")
	require.NoError(t, os.WriteFile(path, packedGood(), 0o200))
	_, err := Open(path, Limits{})
	requireRefused(t, err, path, CodeUnreadable, "can't be read")
}

type iotestReader struct{}

func (iotestReader) ReadAt([]byte, int64) (int, error) { return 0, errors.New("bad sector") }

func TestLimits(t *testing.T) {
	good := packedGood()
	open := func(l Limits) error {
		_, err := Read(bytes.NewReader(good), int64(len(good)), "bundle.zip", l)
		return err
	}
	require.NoError(t, open(Limits{Bytes: 4096, Members: 9}))
	requireRefused(t, open(Limits{Members: 8}), "bundle.zip", CodeMembers, "holds 9 files; a bundle has 8 at most")
	requireRefused(t, open(Limits{Bytes: 1000}), "bundle.zip", CodeUnpacked, "unpacked")
	_, err := Read(bytes.NewReader(nil), 1<<40, "bundle.zip", Limits{})
	requireRefused(t, err, "bundle.zip", CodeTooLong, "larger (1048576.0 MiB) than any bundle may be (260.0 MiB)")
}

// Many faults are told as a list that can be read.
func TestFindingsAreFew(t *testing.T) {
	_, err := read(spoilt(func(files map[string]string) {
		for i := range 100 {
			files[fmt.Sprintf("data/more-%d", i)] = "x"
		}
	}).bytes())
	var list diag.List
	require.True(t, errors.As(err, &list))
	require.Len(t, list, most)
}
