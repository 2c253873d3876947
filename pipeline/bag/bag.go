// Package bag packs files into a BagIt 1.0 bag in a zip, and reads such bundles from people that nobody knows.
//
// A bundle NAME.zip holds one folder NAME/ with
//
//	bagit.txt                version and encoding
//	bag-info.txt             one "Label: Value" a line
//	manifest-sha256.txt      SHA-256 of every file below data/
//	tagmanifest-sha256.txt   SHA-256 of the three files above
//	data/                    the payload
//
// (J. Kunze and others, The BagIt File Packaging Format (V1.0), RFC 8493, 2018). Both manifests are in the form that
// "sha256sum -c" takes when it runs inside NAME/.
//
// The identity of a bundle is the SHA-256 of its manifest, so it depends on the payload alone: not on NAME, not on bag-info.txt
// and not on how the zip was packed. For that the manifest has one legal form: sorted by name, two spaces, line feeds.
//
// [Open] believes nothing. It checks the zip to the last byte, the names, the sizes, the manifests and the labels, and hands
// out nothing if anything is wrong; [Bag.Files] gives what was checked, and [WriteFolder] writes it. The package knows nothing of what the
// payload means.
package bag

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
)

// Field is one line of bag-info.txt.
type Field struct{ Label, Value string }

// File is one file of the payload. Name is its path below data/, with slashes.
type File struct {
	Name string
	Data []byte
}

// The tag files of a bag, and the folder of its payload.
const (
	bagitFile       = "bagit.txt"
	infoFile        = "bag-info.txt"
	manifestFile    = "manifest-sha256.txt"
	tagmanifestFile = "tagmanifest-sha256.txt"
	payloadDir      = "data/"
)

const bagitText = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"

// Labels of bag-info.txt that this package writes and checks.
const (
	OxumLabel       = "Payload-Oxum"           // bytes.files of the payload
	IdentifierLabel = "External-Identifier"    // the identity
	FormatLabel     = "Fairlobe-Bundle-Format" // how the payload is to be understood
)

// Format is the only bundle format that there is so far.
const Format = 1

// Identity is "sha256:" and the SHA-256 of the manifest of this payload, in whatever order the files come.
func Identity(payload []File) string {
	return identityOf(manifestOf(payloadMembers(payload)))
}

func identityOf(manifest []byte) string { return "sha256:" + sumOf(manifest) }

func sumOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// payloadMembers gives the payload with the names that it has inside the bag.
func payloadMembers(payload []File) []File {
	out := make([]File, len(payload))
	for i, f := range payload {
		out[i] = File{payloadDir + f.Name, f.Data}
	}
	return out
}

// manifestOf is the manifest of files that have their names inside the bag.
func manifestOf(files []File) []byte {
	var b bytes.Buffer
	for _, f := range sorted(files) {
		fmt.Fprintf(&b, "%s  %s\n", sumOf(f.Data), f.Name)
	}
	return b.Bytes()
}

func sorted(files []File) []File {
	return slices.SortedFunc(slices.Values(files), func(a, b File) int { return strings.Compare(a.Name, b.Name) })
}

// oxumOf counts bytes and files (RFC 8493, section 2.2.2).
func oxumOf(payload []File) string {
	var n int64
	for _, f := range payload {
		n += int64(len(f.Data))
	}
	return fmt.Sprintf("%d.%d", n, len(payload))
}

// Bag is a bundle in which everything was checked.
type Bag struct {
	name     string
	identity string
	fields   []Field
	tags     []File // with their names inside the bag
	payload  []File // sorted
}

// Name is the name of the bundle's folder.
func (b *Bag) Name() string { return b.name }

// Identity is that of [Identity].
func (b *Bag) Identity() string { return b.identity }

// Info gives the value of a label of bag-info.txt, or "".
func (b *Bag) Info(label string) string {
	for _, f := range b.fields {
		if f.Label == label {
			return f.Value
		}
	}
	return ""
}

// Fields gives bag-info.txt line by line.
func (b *Bag) Fields() []Field { return slices.Clone(b.fields) }

// Names gives the names of the payload's files, sorted.
func (b *Bag) Names() []string {
	out := make([]string, len(b.payload))
	for i, f := range b.payload {
		out[i] = f.Name
	}
	return out
}

// File gives the bytes of one file of the payload. They are not to be changed.
func (b *Bag) File(name string) ([]byte, bool) {
	i, found := slices.BinarySearchFunc(b.payload, name, func(f File, name string) int { return strings.Compare(f.Name, name) })
	if !found {
		return nil, false
	}
	return b.payload[i].Data, true
}
