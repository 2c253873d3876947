package bag

import (
	"bytes"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// verifier holds the files of a bag against what its tag files say.
type verifier struct {
	findings
	top  string
	data map[string][]byte // by the name inside the bag
}

// bag checks everything and gives the bag. The format is looked at first: a newer one may have other rules.
func (v *verifier) bag() (*Bag, error) {
	b := &Bag{name: v.top}
	steps := []func(){v.bagit, func() { b.fields = v.info() }, v.names, v.manifests, v.nested, func() { v.labels(b) }}
	for _, step := range steps {
		step()
		if err := v.list.Err(); err != nil {
			return nil, err
		}
	}
	for _, name := range v.sortedNames() {
		if below, ok := strings.CutPrefix(name, payloadDir); ok {
			b.payload = append(b.payload, File{below, v.data[name]})
		} else {
			b.tags = append(b.tags, File{name, v.data[name]})
		}
	}
	return b, nil
}

func (v *verifier) sortedNames() []string { return slices.Sorted(maps.Keys(v.data)) }

func (v *verifier) find(tagFile string, line int, code, format string, args ...any) {
	v.addIn(v.top+"/"+tagFile, line, code, format, args...)
}

// bagit checks the declaration (RFC 8493, section 2.1.1).
func (v *verifier) bagit() {
	text, found := v.data[bagitFile]
	switch {
	case !found:
		v.add(CodeNoBagit, "there is no %s in the folder %s, so this is no bundle", bagitFile, v.top)
	case string(text) == bagitText:
	default:
		version, rest, _ := strings.Cut(string(text), "\n")
		number, is := strings.CutPrefix(version, "BagIt-Version: ")
		encoding, declared := strings.CutPrefix(rest, "Tag-File-Character-Encoding: ")
		switch {
		case is && number != "1.0":
			v.find(bagitFile, 1, CodeBagitVersion, "the bag is of version %s; a bundle is of version 1.0", shown(number))
		case is && declared && encoding != "UTF-8\n":
			v.find(bagitFile, 2, CodeBagitEncoding, "the bag is written in %s; a bundle is written in UTF-8", shown(strings.TrimSpace(encoding)))
		default:
			v.find(bagitFile, 0, CodeBagit, "the file is not the two lines that a bag begins with")
		}
	}
}

// info reads bag-info.txt, one label a line, and checks the format.
func (v *verifier) info() []Field {
	text, found := v.data[infoFile]
	if !found {
		v.add(CodeNoInfo, "there is no %s in the folder %s", infoFile, v.top)
		return nil
	}
	if len(text) > maxInfo {
		v.find(infoFile, 0, CodeInfo, "the file is longer than %d bytes", maxInfo)
		return nil
	}
	var fields []Field
	format := ""
	for n, line := range lines(text) {
		label, value, ok := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
		switch {
		case !ok || !strings.HasSuffix(line, "\n") || !isLabel(label) || value == "" || !utf8.ValidString(value) || oneLine(value) != value:
			v.find(infoFile, n, CodeInfo, `the line is not "Label: value"`)
		case slices.ContainsFunc(fields, func(f Field) bool { return f.Label == label }):
			v.find(infoFile, n, CodeInfo, "the label %s stands twice", shown(label))
		default:
			fields = append(fields, Field{label, value})
		}
		if label == FormatLabel {
			format = value
		}
	}
	v.format(format)
	return fields
}

func (v *verifier) format(format string) {
	n, err := strconv.Atoi(format)
	switch {
	case format == "":
		v.find(infoFile, 0, CodeNoFormat, "the label %s is missing", FormatLabel)
	case err != nil || n < 1 || format != fmt.Sprint(n):
		v.find(infoFile, 0, CodeFormat, "%s is no bundle format", shown(format))
	case n > Format:
		// Nothing else is worth telling: its rules are not known here.
		v.list = nil
		v.find(infoFile, 0, CodeNewerFormat, "the bundle has format %d: it was made by a newer version of fairlobe", n)
	}
}

var anyManifest = regexp.MustCompile(`^manifest-([a-z0-9]+)\.txt$`)

// names checks that the bag has its tag files, a payload and nothing else.
func (v *verifier) names() {
	payload, other := 0, ""
	for _, name := range v.sortedNames() {
		switch {
		case strings.HasPrefix(name, payloadDir):
			payload++
		case slices.Contains([]string{bagitFile, infoFile, manifestFile, tagmanifestFile}, name):
		case name == "fetch.txt":
			v.add(CodeFetch, "the bundle asks to load files from elsewhere (%s)", name)
		case anyManifest.MatchString(name):
			other = anyManifest.FindStringSubmatch(name)[1]
			if _, found := v.data[manifestFile]; found {
				v.add(CodeUnexpected, "the bundle holds a second list of checksums (%s)", name)
			}
		default:
			v.add(CodeUnexpected, "the bundle holds %s, which is no part of it", shown(name))
		}
	}
	if payload == 0 {
		v.add(CodeNoPayload, "there is nothing in the bundle's folder data")
	}
	if _, found := v.data[manifestFile]; !found && other != "" {
		v.add(CodeManifestAlgorithm, "the checksums are of another kind (%s) than SHA-256", other)
	} else if !found {
		v.add(CodeNoManifest, "there is no list of checksums (%s) in the folder %s", manifestFile, v.top)
	}
	if _, found := v.data[tagmanifestFile]; !found {
		v.add(CodeNoManifest, "there is no list of checksums (%s) in the folder %s", tagmanifestFile, v.top)
	}
}

// manifests checks both lists: every file stands in its list once, and has the checksum that stands there.
func (v *verifier) manifests() {
	v.manifest(tagmanifestFile, func(name string) bool { return !strings.HasPrefix(name, payloadDir) && name != tagmanifestFile })
	v.manifest(manifestFile, func(name string) bool { return strings.HasPrefix(name, payloadDir) })
}

var manifestLine = regexp.MustCompile(`^([0-9a-f]{64})  (\S+)\n$`)

func (v *verifier) manifest(list string, belongs func(string) bool) {
	listed := map[string]bool{}
	for n, line := range lines(v.data[list]) {
		if len(v.list) == most {
			return // it may have millions of lines
		}
		m := manifestLine.FindStringSubmatch(line)
		if m == nil {
			v.find(list, n, CodeManifestLine, "the line is not a SHA-256, two spaces and a name")
			continue
		}
		sum, name := m[1], m[2]
		data, found := v.data[name]
		switch {
		case listed[name]:
			v.find(list, n, CodeManifestTwice, "%s stands twice", shown(name))
		case !found || !belongs(name):
			v.find(list, n, CodeNoSuchFile, "the bundle has no such file: %s", shown(name))
		case sumOf(data) != sum:
			v.find(list, n, CodeChecksum, "%s is not the file that was shared: its SHA-256 is another", shown(name))
		}
		listed[name] = true
	}
	var files []File
	for _, name := range v.sortedNames() {
		if belongs(name) {
			files = append(files, File{name, v.data[name]})
			if !listed[name] {
				v.find(list, 0, CodeNotListed, "%s is in the bundle and not in the list", shown(name))
			}
		}
	}
	if v.list == nil && !bytes.Equal(v.data[list], manifestOf(files)) {
		v.find(list, 0, CodeManifestOrder, "the lines are not sorted by name, so the bundle's identity is not settled")
	}
}

// nested refuses archives in the payload: what is in them was never looked at.
func (v *verifier) nested() {
	for _, name := range v.sortedNames() {
		if isArchive(name, v.data[name]) {
			v.add(CodeNestedArchive, "%s is a zip inside the zip", shown(name))
		}
	}
}

func isArchive(name string, data []byte) bool {
	return strings.HasSuffix(name, ".zip") || bytes.HasPrefix(data, []byte("PK\x03\x04")) || bytes.HasPrefix(data, []byte("PK\x05\x06"))
}

// labels checks what bag-info.txt says of the payload.
func (v *verifier) labels(b *Bag) {
	var payload []File
	for name, data := range v.data {
		if strings.HasPrefix(name, payloadDir) {
			payload = append(payload, File{name, data})
		}
	}
	b.identity = identityOf(v.data[manifestFile])
	if have, want := b.Info(OxumLabel), oxumOf(payload); have != want {
		v.find(infoFile, 0, CodeOxum, "%s is %s, and the payload has %s (bytes.files)", OxumLabel, shown(have), want)
	}
	if have := b.Info(IdentifierLabel); have != b.identity {
		v.find(infoFile, 0, CodeIdentifier, "%s is %s, and the payload's identity is %s", IdentifierLabel, shown(have), b.identity)
	}
}

// lines gives the lines with their number and line feed.
func lines(text []byte) func(func(int, string) bool) {
	return func(yield func(int, string) bool) {
		n := 0
		for line := range strings.Lines(string(text)) {
			if n++; !yield(n, line) {
				return
			}
		}
	}
}
