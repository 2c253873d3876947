package bag

// Limits is how much of a bundle is read. A zero stands for the default.
type Limits struct {
	Bytes   int64 // all files together, unpacked: 256 MiB; the zip may be little longer
	Members int   // files and folders in the zip: 1000
}

func (l Limits) withDefaults() Limits {
	if l.Bytes == 0 {
		l.Bytes = 256 << 20
	}
	if l.Members == 0 {
		l.Members = 1000
	}
	return l
}

// Fixed limits of the form.
const (
	maxName  = 200      // bytes of a member's whole name; Windows takes 259 with the folder before it
	maxPart  = 100      // bytes between two slashes
	maxDepth = 6        // parts of a name, NAME and data included
	maxTop   = 64       // bytes of NAME
	maxInfo  = 64 << 10 // bytes of bag-info.txt, which is shown to people

	// A file over ratioFrom that shrinks to less than 1/maxRatio is taken for a bomb. Deflate reaches 1032:1 on zeros (P. Deutsch,
	// DEFLATE, RFC 1951, 1996: 258 bytes in two bits); tables of numbers stay far below 100:1. Pack stores such a file as it is.
	maxRatio  = 200
	ratioFrom = 1 << 20

	overhead = 4 << 20 // what headers and the directory of a zip may take
)

// isBomb tells that so few bytes do not become so many in honest work.
func isBomb(packed, unpacked int64) bool {
	return unpacked > ratioFrom && unpacked/maxRatio > packed
}
