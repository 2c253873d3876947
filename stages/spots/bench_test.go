package spots

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const benchRows = 100_000

// BenchmarkReadTable reads 100 000 rows of delimited text.
func BenchmarkReadTable(b *testing.B) {
	var text strings.Builder
	text.WriteString("when,tx,rx,db,where,hz\n")
	for i := range benchRows {
		fmt.Fprintf(&text, "2026-09-12T04:%02d:%02dZ,Q1RDG,Q%d%c%c,%d,NN34ab,14075%03d\n", i/4%60, i%4*15, i%10, 'A'+i/10%26, 'A'+i/260%26, -i%20, i%1000)
	}
	f := File{Format: "table", Form: form(Column{Name: "receiver_locator", Columns: []string{"where"}})}
	f.Form.Columns[4] = Column{Name: "frequency_mhz", Columns: []string{"hz"}, Unit: "Hz"}
	b.SetBytes(int64(text.Len()))
	b.ReportAllocs()
	for b.Loop() {
		res, err := read(b, f, []byte(text.String()))
		require.NoError(b, err)
		require.EqualValues(b, benchRows, res.Tables[renamed(f).Rows()].NumRows())
	}
}

func renamed(f File) File { f.Name = "spots/file"; return f }

// BenchmarkPlace places 100 000 rows, of which half stand twice.
func BenchmarkPlace(b *testing.B) {
	rows := make([]row, benchRows/2)
	for i := range rows {
		r := one(i+1, "04:00:30")
		r.at = at(fmt.Sprintf("04:%02d:%02d", i%40, i/40%2*30))
		r.rx = fmt.Sprintf("Q%dA%c%c", i%10, 'A'+i/10%26, 'A'+i/260%26)
		rows[i] = r
	}
	b.ReportAllocs()
	for b.Loop() {
		_, err := placeFiles(b, params(), twoBlocks, file{name: "a", rows: rows}, file{name: "b", rows: rows})
		require.NoError(b, err)
	}
}
