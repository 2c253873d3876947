package bag

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"path"
	"slices"
	"strings"
	"unicode"

	"github.com/klauspost/compress/flate"
)

// zipDate is 1 January 1980, the first day that a zip can tell: the same for every file of every bundle.
const zipDate = 1<<5 | 1

// Pack writes a bundle and gives its identity. The same name, payload and info give the same bytes; the order of the payload's
// files does not matter, that of info's does. Payload-Oxum, External-Identifier and, unless it is given, Fairlobe-Bundle-Format
// are added. A value of info is brought to one line: what is no graphic character becomes a space.
//
// What [Read] would refuse, Pack does not write: names, labels and sizes outside the limits are errors, and so is a zip inside the
// payload. The compression is that of a module, not of the standard library, since go.mod then fixes the bytes.
func Pack(w io.Writer, name string, payload []File, info []Field) (identity string, err error) {
	members, identity, err := bagOf(name, payload, info)
	if err != nil {
		return "", fmt.Errorf("packing %s: %w", name, err)
	}
	z := zip.NewWriter(w)
	for _, m := range sorted(members) {
		if err := pack(z, name+"/"+m.Name, m.Data); err != nil {
			return "", fmt.Errorf("packing %s of %s: %w", m.Name, name, err)
		}
	}
	if err := z.Close(); err != nil {
		return "", fmt.Errorf("packing %s: %w", name, err)
	}
	return identity, nil
}

// checkPayload is what [Read] would say of the payload.
func checkPayload(name string, payload []File) error {
	if err := CheckName(name); err != nil {
		return err
	}
	if len(payload) == 0 {
		return errors.New("there is nothing to pack")
	}
	const tagFiles = 4
	limits := Limits{}.withDefaults()
	if n := len(payload) + tagFiles; n > limits.Members {
		return fmt.Errorf("%d files are too many; a bundle has %d at most", n, limits.Members)
	}
	names := map[string]bool{}
	sum := int64(overhead) // the tag files are shorter
	for _, f := range payload {
		member := name + "/" + payloadDir + f.Name
		if code, what := badMember(member); code != "" {
			return fmt.Errorf("the name %s %s", shown(f.Name), what)
		}
		if names[f.Name] {
			return fmt.Errorf("the name %s stands twice", shown(f.Name))
		}
		names[f.Name] = true
		if isArchive(f.Name, f.Data) {
			return fmt.Errorf("%s is a zip, which a bundle can't hold", shown(f.Name))
		}
		sum += int64(len(f.Data))
	}
	for _, f := range payload {
		for dir := path.Dir(f.Name); dir != "."; dir = path.Dir(dir) {
			if names[dir] {
				return fmt.Errorf("%s is the name of a file and of a folder", shown(dir))
			}
		}
	}
	if sum > limits.Bytes {
		return fmt.Errorf("the files take %s; a bundle takes %s at most", mebibytes(sum), mebibytes(limits.Bytes))
	}
	return nil
}

// bagOf gives the files of the bag with their names inside it.
func bagOf(name string, payload []File, info []Field) (members []File, identity string, err error) {
	if err := checkPayload(name, payload); err != nil {
		return nil, "", err
	}
	members = payloadMembers(payload)
	manifest := manifestOf(members)
	identity = identityOf(manifest)
	text, err := infoText(info, Field{OxumLabel, oxumOf(payload)}, Field{IdentifierLabel, identity})
	if err != nil {
		return nil, "", err
	}
	tags := []File{{infoFile, text}, {bagitFile, []byte(bagitText)}, {manifestFile, manifest}}
	tags = append(tags, File{tagmanifestFile, manifestOf(tags)})
	return append(members, tags...), identity, nil
}

// infoText is bag-info.txt.
func infoText(info []Field, added ...Field) ([]byte, error) {
	if !slices.ContainsFunc(info, func(f Field) bool { return f.Label == FormatLabel }) {
		added = append(added, Field{FormatLabel, fmt.Sprint(Format)})
	}
	var b bytes.Buffer
	seen := map[string]bool{}
	for _, f := range slices.Concat(info, added) {
		if !isLabel(f.Label) {
			return nil, fmt.Errorf("%q is no label for %s", f.Label, infoFile)
		}
		if seen[f.Label] {
			return nil, fmt.Errorf("the label %s stands twice in %s", f.Label, infoFile)
		}
		seen[f.Label] = true
		value := oneLine(f.Value)
		if value == "" {
			return nil, fmt.Errorf("the label %s of %s has no value", f.Label, infoFile)
		}
		if f.Label == FormatLabel && value != fmt.Sprint(Format) {
			return nil, fmt.Errorf("there is no bundle format %s", value)
		}
		fmt.Fprintf(&b, "%s: %s\n", f.Label, value)
	}
	if b.Len() > maxInfo {
		return nil, fmt.Errorf("%s takes %d bytes; it takes %d at most", infoFile, b.Len(), maxInfo)
	}
	return b.Bytes(), nil
}

func isLabel(s string) bool {
	for _, r := range s {
		if (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && (r < '0' || r > '9') && r != '-' {
			return false
		}
	}
	return s != ""
}

func oneLine(s string) string {
	graphic := strings.Map(func(r rune) rune {
		if unicode.IsGraphic(r) {
			return r
		}
		return ' '
	}, s)
	return strings.TrimSpace(graphic)
}

// pack adds one file to the zip: sizes and CRC-32 in the header before it, no extra field, no date, mode 0644.
func pack(z *zip.Writer, name string, data []byte) error {
	method, packed, err := squeeze(data)
	if err != nil {
		return err
	}
	header := &zip.FileHeader{
		Name:           name,
		CreatorVersion: 3<<8 | 20, // Unix, so that the mode counts
		ReaderVersion:  20,
		Method:         method,
		//lint:ignore SA1019 CreateRaw writes ModifiedDate as it is and looks at no other date
		ModifiedDate:       zipDate,
		CRC32:              crc32.ChecksumIEEE(data),
		CompressedSize64:   uint64(len(packed)),
		UncompressedSize64: uint64(len(data)),
		ExternalAttrs:      0o100644 << 16,
	}
	w, err := z.CreateRaw(header)
	if err != nil {
		return err
	}
	_, err = w.Write(packed)
	return err
}

// squeeze deflates data where that gains something, and not so much that [Read] takes it for a bomb.
func squeeze(data []byte) (method uint16, packed []byte, err error) {
	var b bytes.Buffer
	w, err := flate.NewWriter(&b, flate.BestCompression)
	if err != nil {
		return 0, nil, err
	}
	if _, err := w.Write(data); err != nil {
		return 0, nil, err
	}
	if err := w.Close(); err != nil {
		return 0, nil, err
	}
	if b.Len() >= len(data) || isBomb(int64(b.Len()), int64(len(data))) {
		return zip.Store, data, nil
	}
	return zip.Deflate, b.Bytes(), nil
}
