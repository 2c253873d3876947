package rehearsal

import (
	"bytes"
	"fmt"
	"time"
)

// record is one record of a log: fields in their order, name and value.
type record [][2]string

// set replaces the value of a field.
func (r record) set(name, value string) {
	for i := range r {
		if r[i][0] == name {
			r[i][1] = value
		}
	}
}

// get gives the value of a field.
func (r record) get(name string) string {
	for i := range r {
		if r[i][0] == name {
			return r[i][1]
		}
	}
	return ""
}

// writeADI writes records as ADI text: ADIF 3.1.5, section II.A. Values are ASCII, so that their length is that of
// their bytes. Fields without a value are left out.
func writeADI(records []record, created time.Time) []byte {
	var out bytes.Buffer
	out.WriteString("Invented log of an invented trial.\n")
	specify(&out, "ADIF_VER", "3.1.5")
	specify(&out, "CREATED_TIMESTAMP", created.UTC().Format("20060102 150405"))
	out.WriteString("<EOH>\n")
	for _, r := range records {
		for _, field := range r {
			specify(&out, field[0], field[1])
		}
		out.WriteString("<EOR>\n")
	}
	return out.Bytes()
}

func specify(out *bytes.Buffer, name, value string) {
	if value != "" {
		fmt.Fprintf(out, "<%s:%d>%s ", name, len(value), value)
	}
}

// rst writes a report as the modes do: sign and two digits, dB.
func rst(db int) string { return fmt.Sprintf("%+03d", min(99, max(-99, db))) }
