package bag

import (
	"bytes"
	"cmp"
	"compress/flate"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"slices"
	"strings"
)

// The layout of a zip (PKWARE, .ZIP File Format Specification, 6.3.10, 2022, section 4.3): files, each behind a local header;
// the directory; the end record. This reader takes nothing else, and no byte that belongs to none of them: what is hidden
// from it can't be shown to another reader.
const (
	localSignature      = 0x04034b50
	centralSignature    = 0x02014b50
	endSignature        = 0x06054b50
	descriptorSignature = 0x08074b50

	localLength   = 30
	centralLength = 46
	endLength     = 22

	methodStore   = 0
	methodDeflate = 8

	flagEncrypted  = 1<<0 | 1<<6 | 1<<13
	flagDescriptor = 1 << 3
	flagHarmless   = 1<<1 | 1<<2 | flagDescriptor | 1<<11 // how well deflate tried; sizes come behind the data; UTF-8
)

// archive reads one zip.
type archive struct {
	findings
	r      io.ReaderAt
	size   int64
	limits Limits
}

// member is one entry of the directory.
type member struct {
	name     string
	flags    uint16
	method   uint16
	crc      uint32
	packed   int64
	unpacked int64
	offset   int64 // of the local header
	data     int64 // offset of the packed bytes, found in the local header
	attr     uint32
}

func (m member) isFolder() bool { return strings.HasSuffix(m.name, "/") }

// at reads n bytes.
func (a *archive) at(offset, n int64) ([]byte, error) {
	if offset+n > a.size {
		return nil, a.refuse(CodeBroken, "the zip points behind its own end")
	}
	buf := make([]byte, n)
	if got, err := a.r.ReadAt(buf, offset); got < len(buf) {
		return nil, a.refuse(CodeUnreadable, "the file can't be read: %v", err)
	}
	return buf, nil
}

// members gives the directory, in which names, sizes, modes and places were checked.
func (a *archive) members() ([]member, error) {
	if a.size == 0 {
		return nil, a.refuse(CodeEmpty, "the file is empty")
	}
	if most := a.limits.Bytes + overhead; a.size > most {
		return nil, a.refuse(CodeTooLong, "the file is larger (%s) than any bundle may be (%s)", mebibytes(a.size), mebibytes(most))
	}
	start, length, count, err := a.end()
	if err != nil {
		return nil, err
	}
	list, err := a.directory(start, length, count)
	if err != nil {
		return nil, err
	}
	a.checkNames(list)
	if err := a.list.Err(); err != nil {
		return nil, err
	}
	if err := a.checkSizes(list); err != nil {
		return nil, err
	}
	return list, a.locate(list, start)
}

// end reads the end record: where the directory starts, its length and its number of entries.
func (a *archive) end() (start, length int64, count int, err error) {
	at, err := a.findEnd()
	if err != nil {
		return 0, 0, 0, err
	}
	rec, err := a.at(at, endLength)
	if err != nil {
		return 0, 0, 0, err
	}
	u16, u32 := binary.LittleEndian.Uint16, binary.LittleEndian.Uint32
	here, all := u16(rec[8:]), u16(rec[10:])
	length, start = int64(u32(rec[12:])), int64(u32(rec[16:]))
	switch {
	case u16(rec[4:]) != 0 || u16(rec[6:]) != 0 || here != all:
		err = a.refuse(CodeFeature, "the zip is in several parts, which no bundle is")
	case all == 0xffff || start == 0xffffffff || length == 0xffffffff:
		err = a.refuse(CodeFeature, "the zip is of the large kind (zip64), which no bundle is")
	case int(all) > a.limits.Members:
		err = a.refuse(CodeMembers, "the zip holds %d files; a bundle has %d at most", all, a.limits.Members)
	case start+length > at:
		err = a.refuse(CodeBroken, "the zip's directory runs into its end")
	case start+length < at:
		err = a.refuse(CodeExtraBytes, "the zip has bytes before its first file or behind its directory that belong to nothing")
	case length > overhead:
		err = a.refuse(CodeBroken, "the zip's directory is too long (%s)", mebibytes(length))
	}
	return start, length, int(all), err
}

// findEnd finds the end record, which is the last thing in a bundle.
func (a *archive) findEnd() (int64, error) {
	const mostComment = 0xffff
	from := max(0, a.size-endLength-mostComment)
	tail, err := a.at(from, a.size-from)
	if err != nil {
		return 0, err
	}
	signature := binary.LittleEndian.AppendUint32(nil, endSignature)
	if rec := tail[max(0, len(tail)-endLength):]; len(rec) == endLength && bytes.HasPrefix(rec, signature) && rec[20] == 0 && rec[21] == 0 {
		return a.size - endLength, nil
	}
	at := bytes.LastIndex(tail, signature)
	if at < 0 {
		head, err := a.at(0, min(4, a.size))
		if err != nil {
			return 0, err
		}
		if bytes.Equal(head, binary.LittleEndian.AppendUint32(nil, localSignature)) {
			return 0, a.refuse(CodeCut, "the zip has no end: it is cut off")
		}
		return 0, a.refuse(CodeNoZip, "the file is no zip")
	}
	behind := len(tail) - at - endLength
	if behind < 0 {
		return 0, a.refuse(CodeCut, "the zip is cut off in its last bytes")
	}
	comment := int(binary.LittleEndian.Uint16(tail[at+endLength-2:]))
	switch {
	case comment > behind:
		return 0, a.refuse(CodeCut, "the zip is cut off in its comment")
	case comment < behind:
		return 0, a.refuse(CodeExtraBytes, "%d bytes follow the end of the zip", behind-comment)
	case comment > 0:
		return 0, a.refuse(CodeComment, "the zip carries a comment, which no bundle does")
	}
	return from + int64(at), nil
}

// directory reads the entries and refuses what no bundle has: links, special files, encryption, other methods, comments.
func (a *archive) directory(start, length int64, count int) ([]member, error) {
	raw, err := a.at(start, length)
	if err != nil {
		return nil, err
	}
	u16, u32 := binary.LittleEndian.Uint16, binary.LittleEndian.Uint32
	var list []member
	for range count {
		if len(raw) < centralLength || u32(raw) != centralSignature {
			return nil, a.refuse(CodeBroken, "the zip's directory is damaged at entry %d", len(list)+1)
		}
		names, extras, comments := int(u16(raw[28:])), int(u16(raw[30:])), int(u16(raw[32:]))
		whole := centralLength + names + extras + comments
		if len(raw) < whole {
			return nil, a.refuse(CodeBroken, "the zip's directory is damaged at entry %d", len(list)+1)
		}
		m := member{
			name: string(raw[centralLength : centralLength+names]), flags: u16(raw[8:]), method: u16(raw[10:]), crc: u32(raw[16:]),
			packed: int64(u32(raw[20:])), unpacked: int64(u32(raw[24:])), attr: u32(raw[38:]), offset: int64(u32(raw[42:])),
		}
		a.checkForm(m)
		a.checkExtras(m, raw[centralLength+names:centralLength+names+extras])
		if comments > 0 {
			a.add(CodeComment, "%s carries a comment, which no file of a bundle does", shown(m.name))
		}
		if u16(raw[34:]) != 0 {
			a.add(CodeFeature, "%s lies in another part of the zip", shown(m.name))
		}
		list = append(list, m)
		raw = raw[whole:]
	}
	if len(raw) > 0 {
		a.add(CodeExtraBytes, "the zip's directory has %d bytes that belong to no file", len(raw))
	}
	return list, nil // what was found is told together with the names
}

// Kinds of file and bits in the upper half of the attributes, as Unix has them, and in the lower, as DOS and Windows have them.
const (
	unixKind    = 0o170000
	unixRegular = 0o100000
	unixFolder  = 0o040000
	unixLink    = 0o120000
	unixSetID   = 0o7000

	dosVolume  = 1 << 3
	dosFolder  = 1 << 4
	dosDevice  = 1 << 6
	dosReparse = 1 << 10
)

func (a *archive) checkForm(m member) {
	name := shown(m.name)
	switch {
	case m.flags&flagEncrypted != 0:
		a.add(CodeEncrypted, "%s is encrypted, which no file of a bundle is", name)
	case m.flags&^flagHarmless != 0:
		a.add(CodeFeature, "%s uses a feature of zip that no bundle needs (flags %#x)", name, m.flags)
	case m.method != methodStore && m.method != methodDeflate:
		a.add(CodeMethod, "%s is packed by a method that no bundle uses (number %d)", name, m.method)
	}
	// Both halves are looked at, whichever system the entry says it comes from.
	mode, folder := m.attr>>16, m.isFolder()
	switch kind := mode & unixKind; {
	case kind == unixLink, m.attr&dosReparse != 0:
		a.add(CodeLink, "%s is a link to somewhere else", name)
	case kind != 0 && kind != unixRegular && kind != unixFolder, m.attr&(dosVolume|dosDevice) != 0:
		a.add(CodeSpecial, "%s is neither a file nor a folder", name)
	case mode&unixSetID != 0:
		a.add(CodeSpecial, "%s would run with the rights of another user", name)
	case folder && kind == unixRegular, !folder && (kind == unixFolder || m.attr&dosFolder != 0):
		a.add(CodeSpecial, "%s says by its name that it is a file and by its mode that it is a folder, or the other way round", name)
	}
}

// checkExtras lets times and owners pass, which are not used, and refuses extra fields that can say something else than the
// header does.
func (a *archive) checkExtras(m member, extra []byte) {
	for len(extra) >= 4 {
		id, n := binary.LittleEndian.Uint16(extra), int(binary.LittleEndian.Uint16(extra[2:]))
		if len(extra) < 4+n {
			break
		}
		switch id {
		case 0x5455, 0x5855, 0x7855, 0x7875, 0x000a: // Unix and NTFS times, user ids
		case 0x000d, 0x756e:
			a.add(CodeLink, "%s carries the kind of field that tells the target of a hard or symbolic link", shown(m.name))
		case 0x7075:
			a.add(CodeHeaders, "%s carries a second name", shown(m.name))
		default:
			a.add(CodeFeature, "%s uses a feature of zip that no bundle needs (extra field %#04x)", shown(m.name), id)
		}
		extra = extra[4+n:]
	}
	if len(extra) > 0 {
		a.add(CodeBroken, "%s has a damaged extra field", shown(m.name))
	}
}

// checkNames looks at each name, and at all of them together.
func (a *archive) checkNames(list []member) {
	seen := map[string]string{} // folded, without the slash of a folder
	files := map[string]bool{}
	top := ""
	for _, m := range list {
		name := strings.TrimSuffix(m.name, "/")
		first, _, nested := strings.Cut(name, "/")
		if code, what := badMember(name); code != "" {
			a.add(code, "the name %s %s", shown(m.name), what)
		} else if !nested && !m.isFolder() {
			a.add(CodeTopFolder, "%s lies in no folder; a bundle is one folder with everything in it", shown(m.name))
		} else if top == "" {
			top = first
		} else if first != top {
			a.add(CodeTopFolder, "the zip holds two folders, %s and %s; a bundle is one", shown(top), shown(first))
		}
		folded := strings.ToLower(name)
		if other, found := seen[folded]; found && other == m.name {
			a.add(CodeTwice, "the name %s stands twice in the zip", shown(m.name))
		} else if found {
			a.add(CodeClash, "the names %s and %s are one and the same on many systems", shown(other), shown(m.name))
		}
		seen[folded] = m.name
		if !m.isFolder() {
			files[folded] = true
		}
	}
	if a.list != nil {
		return // what follows would take long for names that are too long
	}
	for _, m := range list {
		folded := strings.ToLower(m.name)
		for i, r := range folded {
			if r == '/' && i < len(folded)-1 && files[folded[:i]] {
				a.add(CodeClash, "%s is the name of a file and of a folder", shown(m.name[:i]))
			}
		}
	}
	if len(list) == 0 {
		a.add(CodeNoBagit, "the zip holds nothing")
	}
}

// checkSizes holds what the directory declares against the limits, before anything is unpacked.
func (a *archive) checkSizes(list []member) error {
	var sum int64
	for _, m := range list {
		sum += m.unpacked
		switch {
		case m.isFolder() && (m.unpacked != 0 || m.packed != 0):
			a.add(CodeSize, "the folder %s has content", shown(m.name))
		case m.method == methodStore && m.packed != m.unpacked:
			a.add(CodeSize, "%s declares two sizes, %d and %d bytes, and is not compressed", shown(m.name), m.packed, m.unpacked)
		case m.method == methodDeflate && isBomb(m.packed, m.unpacked):
			a.add(CodeBomb, "%s would grow from %d bytes to %s: a bomb", shown(m.name), m.packed, mebibytes(m.unpacked))
		}
	}
	if sum > a.limits.Bytes {
		a.add(CodeUnpacked, "the files would take %s unpacked; a bundle takes %s at most", mebibytes(sum), mebibytes(a.limits.Bytes))
	}
	return a.list.Err()
}

// locate reads the local headers. The files must follow one another without a gap, from the first byte to the directory, and say
// what the directory says.
func (a *archive) locate(list []member, directory int64) error {
	order := make([]*member, len(list))
	for i := range list {
		order[i] = &list[i]
	}
	slices.SortStableFunc(order, func(a, b *member) int { return cmp.Compare(a.offset, b.offset) })
	end := int64(0) // of the file before
	for i, m := range order {
		if m.offset > end {
			return a.refuse(CodeExtraBytes, "%d bytes before %s belong to no file", m.offset-end, shown(m.name))
		}
		next := directory
		if i+1 < len(order) {
			next = order[i+1].offset
		}
		if err := a.local(m, directory); err != nil {
			return err
		}
		if end = m.data + m.packed; end > next {
			return a.refuse(CodeOverlap, "%s shares bytes of the zip with another file", shown(m.name))
		}
		if m.flags&flagDescriptor != 0 {
			n, err := a.descriptor(m, next-end)
			if err != nil {
				return err
			}
			end += n
		}
	}
	if end < directory {
		return a.refuse(CodeExtraBytes, "%d bytes before the zip's directory belong to no file", directory-end)
	}
	return nil
}

// local reads the header before the data and holds it against the directory.
func (a *archive) local(m *member, directory int64) error {
	if m.offset+localLength > directory {
		return a.refuse(CodeBroken, "%s would begin behind the zip's directory", shown(m.name))
	}
	h, err := a.at(m.offset, localLength)
	if err != nil {
		return err
	}
	u16, u32 := binary.LittleEndian.Uint16, binary.LittleEndian.Uint32
	if u32(h) != localSignature {
		return a.refuse(CodeBroken, "there is no file where the zip's directory says that %s begins", shown(m.name))
	}
	names, extras := int64(u16(h[26:])), int64(u16(h[28:]))
	m.data = m.offset + localLength + names + extras
	if m.data+m.packed > directory {
		return a.refuse(CodeOverlap, "%s shares bytes of the zip with its directory", shown(m.name))
	}
	rest, err := a.at(m.offset+localLength, names+extras)
	if err != nil {
		return err
	}
	if name := string(rest[:names]); name != m.name {
		return a.refuse(CodeHeaders, "the zip's directory calls a file %s, and the file itself says %s", shown(m.name), shown(name))
	}
	crc, packed, unpacked := u32(h[14:]), int64(u32(h[18:])), int64(u32(h[22:]))
	later := m.flags&flagDescriptor != 0 && crc == 0 && packed == 0 && unpacked == 0
	same := u16(h[6:]) == m.flags && u16(h[8:]) == m.method && (later || crc == m.crc && packed == m.packed && unpacked == m.unpacked)
	if !same {
		return a.refuse(CodeHeaders, "the zip's directory and the header of %s itself tell different things", shown(m.name))
	}
	a.checkExtras(*m, rest[names:])
	return a.list.Err()
}

// descriptor reads sizes that stand behind the data, with or without a signature, in n bytes.
func (a *archive) descriptor(m *member, n int64) (length int64, err error) {
	raw, err := a.at(m.data+m.packed, min(n, 16))
	if err != nil {
		return 0, err
	}
	plain := binary.LittleEndian.AppendUint32(nil, m.crc)
	plain = binary.LittleEndian.AppendUint32(plain, uint32(m.packed))
	plain = binary.LittleEndian.AppendUint32(plain, uint32(m.unpacked))
	signed := append(binary.LittleEndian.AppendUint32(nil, descriptorSignature), plain...)
	switch {
	case bytes.HasPrefix(raw, signed):
		return int64(len(signed)), nil
	case bytes.HasPrefix(raw, plain):
		return int64(len(plain)), nil
	}
	return 0, a.refuse(CodeHeaders, "the zip's directory and the sizes behind %s tell different things", shown(m.name))
}

// unpack gives the bytes of a file. It stops at the first byte that is too many.
func (a *archive) unpack(m member) ([]byte, error) {
	packed, err := a.at(m.data, m.packed)
	if err != nil {
		return nil, err
	}
	data := packed
	if m.method == methodDeflate {
		src := bytes.NewReader(packed)
		var out bytes.Buffer
		if _, err := io.Copy(&out, io.LimitReader(flate.NewReader(src), m.unpacked+1)); err != nil {
			return nil, a.refuse(CodeDamaged, "%s is damaged: %v", shown(m.name), err)
		}
		data = out.Bytes()
		if int64(len(data)) == m.unpacked && src.Len() > 0 {
			return nil, a.refuse(CodeSize, "%d bytes follow the end of %s", src.Len(), shown(m.name))
		}
	}
	if n := int64(len(data)); n > m.unpacked {
		return nil, a.refuse(CodeSize, "%s is longer than the %d bytes it declares", shown(m.name), m.unpacked)
	} else if n < m.unpacked {
		return nil, a.refuse(CodeSize, "%s is shorter (%d) than the %d bytes it declares", shown(m.name), n, m.unpacked)
	}
	if crc32.ChecksumIEEE(data) != m.crc {
		return nil, a.refuse(CodeDamaged, "%s is damaged: its check value (CRC-32) is wrong", shown(m.name))
	}
	return data, nil
}

func mebibytes(n int64) string { return fmt.Sprintf("%.1f MiB", float64(n)/(1<<20)) }
