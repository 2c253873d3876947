package adif

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func FuzzRead(f *testing.F) {
	names, err := filepath.Glob("testdata/*.adi")
	require.NoError(f, err)
	for _, name := range names {
		data, err := os.ReadFile(name)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		refused, n := 0, 0
		var findings []Finding
		sum, err := Read(bytes.NewReader(data), -1, func(r *Record) error {
			n++
			require.Equal(t, n, r.N)
			failed := false
			for _, x := range r.Findings {
				require.Equal(t, r.N, x.Record)
				failed = failed || x.Severity == Error
			}
			if !r.Accepted {
				refused++
				require.Empty(t, r.Spots)
			} else {
				require.False(t, failed)
				require.Equal(t, len(r.Spots) == 0, r.NoSpot != "")
			}
			if len(r.Findings) < maxFindings {
				require.Equal(t, failed, !r.Accepted)
			}
			for _, s := range r.Spots {
				require.NotEmpty(t, s.Transmitter)
				require.NotEmpty(t, s.Receiver)
				_, _, ok := BandEdges(s.Band)
				require.True(t, ok)
			}
			findings = append(findings, r.Findings...)
			return nil
		})
		require.NoError(t, err)
		require.Equal(t, sum.Records, n)
		require.Equal(t, sum.Accepted+refused, n)
		for _, x := range append(findings, sum.Findings...) {
			require.True(t, x.Offset >= 0 && x.Offset <= int64(len(data)))
			require.Equal(t, 1+bytes.Count(data[:x.Offset], lineFeed), x.Line)
		}
	})
}

// generated gives a file of n records of 40 stations, two spots each.
func generated(n int) []byte {
	var b bytes.Buffer
	b.WriteString("generated <ADIF_VER:5>3.1.6 <EOH>\n")
	for i := range n {
		b.WriteString(base(fmt.Sprintf("CALL=Q%dA%c", i%10, 'A'+i/10%4), fmt.Sprintf("TIME_ON=%02d%02d%02d", i/240%24, i/4%60, i%4*15),
			fmt.Sprintf("RST_RCVD=%+03d", i%40-25), "GRIDSQUARE=JK11bb", "MY_GRIDSQUARE=JJ00aa", "TX_PWR=5"))
	}
	return b.Bytes()
}

func BenchmarkRead(b *testing.B) {
	const n = 100_000
	data := generated(n)
	for _, o := range []Options{{}, {KeepFields: true}} {
		b.Run(fmt.Sprintf("keep=%t", o.KeepFields), func(b *testing.B) {
			b.SetBytes(int64(len(data)))
			b.ReportAllocs()
			for b.Loop() {
				spots := 0
				_, err := o.Read(bytes.NewReader(data), int64(len(data)), func(r *Record) error {
					spots += len(r.Spots)
					return nil
				})
				if err != nil || spots != 2*n {
					b.Fatal(err, spots)
				}
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "records/s")
		})
	}
}
