package bag

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"hash/crc32"
	"maps"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// forged is one file of a zip that is written by hand, since no honest writer makes what stands in these tests. What is nil or
// zero is as it should be.
type forged struct {
	name      string
	localName string // if it is another
	data      []byte
	method    uint16
	packed    []byte // instead of what method makes of data
	declared  *int64 // bytes unpacked
	crc       *uint32
	flags     uint16
	attr      uint32
	extra     []byte
	comment   string
	sizeInDir *int64 // bytes unpacked, in the directory only

	onlyListed bool // in the directory, without a header and bytes of its own, but those that are at
	offset     uint32
}

// forgery is a whole zip.
type forgery struct {
	files   []forged
	before  []byte // the first file, with the offsets as if it were not there
	between []byte // the files and the directory
	comment string
	after   []byte
	entries *uint16 // in the end record
	disk    uint16
}

const fileMode = 0o100644 << 16

func deflated(data []byte) []byte {
	var b bytes.Buffer
	w, err := flate.NewWriter(&b, flate.BestCompression)
	if err == nil {
		_, err = w.Write(data)
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		panic(err)
	}
	return b.Bytes()
}

func (z forgery) bytes() []byte {
	u16, u32 := binary.LittleEndian.AppendUint16, binary.LittleEndian.AppendUint32
	var out, directory []byte
	for _, f := range z.files {
		offset := uint32(len(out))
		if f.onlyListed {
			offset = f.offset
		}
		packed := f.packed
		switch {
		case packed != nil:
		case f.method == methodDeflate:
			packed = deflated(f.data)
		default:
			packed = f.data
		}
		crc, size := crc32.ChecksumIEEE(f.data), int64(len(f.data))
		if f.crc != nil {
			crc = *f.crc
		}
		if f.declared != nil {
			size = *f.declared
		}
		inDir := size
		if f.sizeInDir != nil {
			inDir = *f.sizeInDir
		}
		attr := f.attr
		if attr == 0 {
			attr = fileMode
		}
		local := f.localName
		if local == "" {
			local = f.name
		}
		common := func(b []byte, size int64, name string) []byte {
			b = u16(u16(u16(b, 20), f.flags), f.method)
			b = u32(b, zipDate<<16)
			b = u32(u32(u32(b, crc), uint32(len(packed))), uint32(size))
			return u16(u16(b, uint16(len(name))), uint16(len(f.extra)))
		}
		if !f.onlyListed {
			out = common(u32(out, localSignature), size, local)
			out = append(append(append(out, local...), f.extra...), packed...)
		}
		directory = common(u16(u32(directory, centralSignature), 3<<8|20), inDir, f.name)
		directory = u16(u16(u16(directory, uint16(len(f.comment))), 0), 0)
		directory = u32(u32(directory, attr), offset)
		directory = append(append(append(directory, f.name...), f.extra...), f.comment...)
	}
	out = append(out, z.between...)
	start := len(out)
	out = append(out, directory...)
	entries := uint16(len(z.files))
	if z.entries != nil {
		entries = *z.entries
	}
	out = u16(u16(u32(out, endSignature), z.disk), 0)
	out = u16(u16(out, entries), entries)
	out = u32(u32(out, uint32(len(directory))), uint32(start))
	out = append(u16(out, uint16(len(z.comment))), z.comment...)
	return slices.Concat(z.before, out, z.after)
}

// samplePayload is small and has what a real one has: folders, text, bytes, an empty file.
func samplePayload() []File {
	return []File{
		{"datapackage.json", []byte("{\"name\": \"ridge-wire\"}\n")},
		{"experiment.toml", []byte("fairlobe = 1\n")},
		{"looks.csv", nil},
		{"tables/cells.csv", bytes.Repeat([]byte("session,band,block\n1,20m,1\n"), 40)},
		{"tables/cells.parquet", []byte("PAR1\x00\x01\x02PAR1")},
	}
}

func sampleInfo() []Field {
	return []Field{{"Bag-Software-Agent", "fairlobe 0"}, {"External-Description", "Ridge wire: 4.5 m against 9 m, Höhe"}, {FormatLabel, "1"}}
}

// bagFiles are the files of a good bag by their names inside it, to be spoilt.
func bagFiles() map[string]string {
	members, _, err := bagOf("ridge-wire", samplePayload(), sampleInfo())
	if err != nil {
		panic(err)
	}
	out := map[string]string{}
	for _, m := range members {
		out[m.Name] = string(m.Data)
	}
	return out
}

// spoilt changes the files of a good bag. The tag manifest is made new unless it is the one that was changed, so that only the one
// fault is there.
func spoilt(change func(files map[string]string)) forgery {
	files := bagFiles()
	before := files[tagmanifestFile]
	change(files)
	if now, found := files[tagmanifestFile]; found && now == before {
		var tags []File
		for _, name := range []string{infoFile, bagitFile, manifestFile} {
			if data, found := files[name]; found {
				tags = append(tags, File{name, []byte(data)})
			}
		}
		files[tagmanifestFile] = string(manifestOf(tags))
	}
	var z forgery
	for _, name := range slices.Sorted(maps.Keys(files)) {
		z.files = append(z.files, forged{name: "ridge-wire/" + name, data: []byte(files[name]), method: methodDeflate})
	}
	return z
}

// relisted makes manifest, identity and lengths fit the payload again.
func relisted(files map[string]string) {
	var payload []File
	for name, data := range files {
		if len(name) > len(payloadDir) && name[:len(payloadDir)] == payloadDir {
			payload = append(payload, File{name[len(payloadDir):], []byte(data)})
		}
	}
	manifest := manifestOf(payloadMembers(payload))
	text, err := infoText(sampleInfo(), Field{OxumLabel, oxumOf(payload)}, Field{IdentifierLabel, identityOf(manifest)})
	if err != nil {
		panic(err)
	}
	files[manifestFile], files[infoFile] = string(manifest), string(text)
}

// with adds one file to a good zip.
func with(f forged) forgery {
	z := spoilt(func(map[string]string) {})
	z.files = append(z.files, f)
	return z
}

// changed alters one file of a good zip.
func changed(name string, change func(*forged)) forgery {
	z := spoilt(func(map[string]string) {})
	i := slices.IndexFunc(z.files, func(f forged) bool { return f.name == "ridge-wire/"+name })
	change(&z.files[i])
	return z
}

func read(data []byte) (*Bag, error) {
	return Read(bytes.NewReader(data), int64(len(data)), "bundle.zip", Limits{})
}

// The forger's good zip must be good, or the tests of the bad ones say nothing.
func TestForgedGoodBundleIsRead(t *testing.T) {
	b, err := read(spoilt(func(map[string]string) {}).bytes())
	require.NoError(t, err)
	require.Equal(t, Identity(samplePayload()), b.Identity())
	b, err = read(spoilt(relisted).bytes())
	require.NoError(t, err)
	require.Equal(t, Identity(samplePayload()), b.Identity())
}
