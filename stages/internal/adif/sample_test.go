package adif

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// expected is the form of testdata/NAME.expect.json.
type expected struct {
	Rejected bool `json:"rejected"`
	Header   *struct {
		Text    string            `json:"text"`
		Fields  map[string]string `json:"fields"`
		UserDef []struct {
			N     int         `json:"n"`
			Name  string      `json:"name"`
			Type  string      `json:"type"`
			Enum  []string    `json:"enum"`
			Range *[2]float64 `json:"range"`
		} `json:"userdef"`
	} `json:"header"`
	Records []struct {
		N        int               `json:"n"`
		Accepted bool              `json:"accepted"`
		Fields   map[string]string `json:"fields"`
	} `json:"records"`
	Spots       []expectedSpot    `json:"spots"`
	Diagnostics []expectedFinding `json:"diagnostics"`
}

type expectedSpot struct {
	Record  int       `json:"record"`
	Time    time.Time `json:"time"`
	Band    string    `json:"band"`
	Mode    string    `json:"mode"`
	Submode string    `json:"submode"`
	Tx      string    `json:"tx"`
	Rx      string    `json:"rx"`
	SNR     float64   `json:"snr_db"`
	MHz     *float64  `json:"freq_mhz"`
	TxGrid  *string   `json:"tx_grid"`
	RxGrid  *string   `json:"rx_grid"`
	PowerW  *float64  `json:"tx_power_w"`
	From    string    `json:"from"`
}

type expectedFinding struct {
	Severity string `json:"severity"`
	Kind     string `json:"kind"`
	Offset   int64  `json:"offset"`
	Record   int    `json:"record"`
	Field    string `json:"field"`
}

// tolerance of numbers in the samples: they have at most six digits, so this is rounding only.
const tolerance = 1e-9

func readString(t testing.TB, text string) (*Summary, []*Record) {
	t.Helper()
	var records []*Record
	sum, err := Read(strings.NewReader(text), int64(len(text)), func(r *Record) error {
		records = append(records, r)
		return nil
	})
	require.NoError(t, err)
	return sum, records
}

// TestSamples: invented samples with expected results (testdata/README.md).
func TestSamples(t *testing.T) {
	names, err := filepath.Glob("testdata/*.adi")
	require.NoError(t, err)
	require.Len(t, names, 21)
	for _, name := range names {
		t.Run(filepath.Base(name), func(t *testing.T) {
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			want := readExpected(t, strings.TrimSuffix(name, ".adi")+".expect.json")
			sum, records := readString(t, string(data))

			assert.Equal(t, want.Rejected, sum.Rejected)
			compareHeader(t, want, sum.Header)
			compareRecords(t, want, sum, records)
			compareSpots(t, want.Spots, records)
			assert.ElementsMatch(t, want.Diagnostics, allFindings(sum, records))
			compareLines(t, data, sum, records)
		})
	}
}

func readExpected(t *testing.T, name string) expected {
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	var want expected
	require.NoError(t, json.Unmarshal(data, &want))
	return want
}

func compareHeader(t *testing.T, want expected, got *Header) {
	if want.Header == nil {
		assert.Nil(t, got)
		return
	}
	require.NotNil(t, got)
	assert.Equal(t, want.Header.Text, got.Text)
	assert.Equal(t, want.Header.Fields, got.Fields)
	require.Len(t, got.UserDefs, len(want.Header.UserDef))
	for i, w := range want.Header.UserDef {
		assert.Equal(t, UserDef{N: w.N, Name: w.Name, Type: w.Type, Enum: w.Enum, Range: w.Range}, got.UserDefs[i])
	}
}

func compareRecords(t *testing.T, want expected, sum *Summary, records []*Record) {
	require.Len(t, records, len(want.Records))
	assert.Equal(t, len(records), sum.Records)
	accepted := 0
	for i, w := range want.Records {
		assert.Equal(t, w.N, records[i].N)
		assert.Equal(t, w.Accepted, records[i].Accepted, "record %d", w.N)
		assert.Equal(t, w.Fields, records[i].Fields, "record %d", w.N)
		assert.Equal(t, records[i].Accepted && len(records[i].Spots) == 0, records[i].NoSpot != "", "record %d: %q", w.N, records[i].NoSpot)
		if w.Accepted {
			accepted++
		}
	}
	assert.Equal(t, accepted, sum.Accepted)
}

func compareSpots(t *testing.T, want []expectedSpot, records []*Record) {
	var got []Spot
	for _, r := range records {
		got = append(got, r.Spots...)
	}
	require.Len(t, got, len(want))
	for i, w := range want {
		g := got[i]
		assert.Equal(t, []any{w.Record, w.Time, w.Band, w.Mode, w.Submode, w.Tx, w.Rx, w.From},
			[]any{g.Record, g.Time, g.Band, g.Mode, g.Submode, g.Transmitter, g.Receiver, g.From})
		assert.InDelta(t, w.SNR, g.SNRdB, tolerance)
		assertNear(t, w.MHz, g.FrequencyMHz)
		assertNear(t, w.PowerW, g.PowerW)
		assert.Equal(t, text(w.TxGrid), g.TransmitterLocator)
		assert.Equal(t, text(w.RxGrid), g.ReceiverLocator)
		assert.Equal(t, records[g.Record-1].Line, g.Line)
	}
}

func text(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func assertNear(t *testing.T, want, got *float64) {
	if want == nil {
		assert.Nil(t, got)
		return
	}
	require.NotNil(t, got)
	assert.InDelta(t, *want, *got, tolerance)
}

func allFindings(sum *Summary, records []*Record) []expectedFinding {
	var out []expectedFinding
	for _, f := range everyFinding(sum, records) {
		out = append(out, expectedFinding{f.Severity.String(), f.Kind, f.Offset, f.Record, f.Field})
	}
	return out
}

func everyFinding(sum *Summary, records []*Record) []Finding {
	out := append([]Finding(nil), sum.Findings...)
	for _, r := range records {
		out = append(out, r.Findings...)
	}
	return out
}

// compareLines counts the line feeds before each finding, the plain way.
func compareLines(t *testing.T, data []byte, sum *Summary, records []*Record) {
	for _, f := range everyFinding(sum, records) {
		assert.Equal(t, 1+bytes.Count(data[:f.Offset], lineFeed), f.Line, "%v", f)
		assert.NotEmpty(t, f.Msg)
		assert.NotEmpty(t, f.Mend)
		if f.Value != "" {
			assert.Contains(t, f.Msg, strings.Trim(f.Value, "\n"), f.Kind)
		}
		assert.NotRegexp(t, `\.$`, f.Msg)
	}
}
