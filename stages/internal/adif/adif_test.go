package adif

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// tagged writes NAME=value pairs as data specifiers with the right lengths, and ends the record.
func tagged(pairs ...string) string {
	var b strings.Builder
	for _, pair := range pairs {
		name, value, _ := strings.Cut(pair, "=")
		fmt.Fprintf(&b, "<%s:%d>%s ", name, len(value), value)
	}
	return b.String() + "<EOR>\n"
}

// base gives the fields of a good record, with changes: NAME=value sets, NAME removes.
func base(changes ...string) string {
	pairs := []string{"CALL=Q1ABC", "QSO_DATE=20260203", "TIME_ON=120015", "BAND=20m", "FREQ=14.0971", "MODE=FT8", "RST_SENT=-12", "STATION_CALLSIGN=Q0ME"}
	for _, c := range changes {
		name, _, set := strings.Cut(c, "=")
		kept := pairs[:0:0]
		for _, p := range pairs {
			if !strings.HasPrefix(p, name+"=") {
				kept = append(kept, p)
			}
		}
		if pairs = kept; set {
			pairs = append(pairs, c)
		}
	}
	return tagged(pairs...)
}

func one(t *testing.T, text string) *Record {
	t.Helper()
	sum, records := readString(t, text)
	require.Empty(t, sum.Findings)
	require.Len(t, records, 1)
	return records[0]
}

func kinds(findings []Finding) []string {
	out := make([]string, 0, len(findings))
	for _, f := range findings {
		out = append(out, f.Severity.String()+" "+f.Kind+" "+f.Field)
	}
	return out
}

// TestRefused: choices of this reader about values that no sample file has.
func TestRefused(t *testing.T) {
	cases := []struct {
		changes []string
		want    string
		msg     string
	}{
		{[]string{"BAND", "FREQ"}, "error missing-field BAND", "the record has no BAND and no FREQ"},
		{[]string{"CALL=Q1ABC/"}, "error bad-call CALL", `CALL = "Q1ABC/" is not a call`},
		{[]string{"CALL=Q1//P"}, "error bad-call CALL", ""},
		{[]string{"CALL=QABC"}, "error bad-call CALL", ""},
		{[]string{"CALL=123"}, "error bad-call CALL", ""},
		{[]string{"CALL=Q1\xc3\x84"}, "error bad-call CALL", ""},
		{[]string{"CALL=" + strings.Repeat("Q1", 11)}, "error bad-call CALL", ""},
		{[]string{"STATION_CALLSIGN=?"}, "error bad-call STATION_CALLSIGN", ""},
		{[]string{"STATION_CALLSIGN", "OPERATOR=Q"}, "error bad-call OPERATOR", ""},
		{[]string{"QSO_DATE=19291231"}, "error bad-date QSO_DATE", "is not a day since 1930"},
		{[]string{"QSO_DATE=20260229"}, "error bad-date QSO_DATE", ""},
		{[]string{"QSO_DATE=2026023"}, "error bad-date QSO_DATE", ""},
		{[]string{"QSO_DATE=2026-2-3"}, "error bad-date QSO_DATE", ""},
		{[]string{"QSO_DATE=20260431"}, "error bad-date QSO_DATE", ""},
		{[]string{"TIME_ON=120060"}, "error bad-time TIME_ON", "leap"},
		{[]string{"TIME_ON=12001"}, "error bad-time TIME_ON", ""},
		{[]string{"FREQ=14.09.71"}, "error bad-number FREQ", `FREQ = "14.09.71" is not a number`},
		{[]string{"FREQ=+14.0971"}, "error bad-number FREQ", ""},
		{[]string{"FREQ=1.4e1"}, "error bad-number FREQ", ""},
		{[]string{"FREQ=."}, "error bad-number FREQ", ""},
		{[]string{"FREQ=" + strings.Repeat("1", 31)}, "error bad-number FREQ", ""},
		{[]string{"FREQ=14097100", "BAND"}, "error frequency-outside-bands FREQ", "as Hz it would lie in 20m"},
		{[]string{"FREQ_RX=14097.1"}, "error frequency-outside-bands FREQ_RX", "as kHz it would lie in 20m"},
		{[]string{"FREQ_RX=7.04", "BAND_RX=20m"}, "error band-frequency-mismatch FREQ_RX", "lies in 40m, and BAND_RX is 20m"},
		{[]string{"MODE=FT8", "SUBMODE=Q65"}, "error mode-submode-mismatch SUBMODE", "belongs to MODE MFSK, and MODE is FT8"},
		{[]string{"MODE=MFSK", "SUBMODE=FT8"}, "error mode-submode-mismatch SUBMODE", "is a mode of its own"},
		{[]string{"MODE=" + strings.Repeat("X", 50)}, "error unknown-mode MODE", ""},
	}
	for _, c := range cases {
		t.Run(strings.Join(c.changes, " "), func(t *testing.T) {
			r := one(t, base(c.changes...))
			assert.False(t, r.Accepted)
			assert.Empty(t, r.Spots)
			assert.Empty(t, r.NoSpot)
			require.Contains(t, kinds(r.Findings), c.want)
			last := r.Findings[len(r.Findings)-1]
			assert.Contains(t, last.Msg+"; "+last.Mend, c.msg)
		})
	}
}

func TestContradictingModes(t *testing.T) {
	r := one(t, base("MODE=JT65A", "SUBMODE=JT65B"))
	assert.Equal(t, []string{"warning import-only-mode MODE", "error mode-submode-mismatch SUBMODE"}, kinds(r.Findings))
	r = one(t, base("MODE=JT65A", "SUBMODE=jt65a"))
	assert.True(t, r.Accepted)
	assert.Equal(t, "JT65A", r.Spots[0].Submode)
}

// TestWarned: the field is dropped or rewritten, the record stays.
func TestWarned(t *testing.T) {
	cases := []struct {
		changes []string
		want    []string
		check   func(*testing.T, Spot)
	}{
		{[]string{"CALL= Q1ABC "}, []string{"warning blank-around-data CALL"}, func(t *testing.T, s Spot) { assert.Equal(t, "Q1ABC", s.Transmitter) }},
		{[]string{"RX_PWR=0"}, []string{"warning bad-number RX_PWR"}, func(t *testing.T, s Spot) { assert.Nil(t, s.PowerW) }},
		{[]string{"RX_PWR=-5"}, []string{"warning bad-number RX_PWR"}, func(t *testing.T, s Spot) { assert.Nil(t, s.PowerW) }},
		{[]string{"GRIDSQUARE=JJ00aa00bb"}, []string{"warning normalised GRIDSQUARE"}, func(t *testing.T, s Spot) { assert.Equal(t, "JJ00aa00", s.TransmitterLocator) }},
		{[]string{"GRIDSQUARE=JJ00ay"}, []string{"warning bad-gridsquare GRIDSQUARE"}, func(t *testing.T, s Spot) { assert.Empty(t, s.TransmitterLocator) }},
		{[]string{"GRIDSQUARE=JJ00", "GRIDSQUARE_EXT=bb"}, []string{"warning bad-gridsquare GRIDSQUARE_EXT"},
			func(t *testing.T, s Spot) { assert.Equal(t, "JJ00", s.TransmitterLocator) }},
		{[]string{"GRIDSQUARE=JJ00aa00", "GRIDSQUARE_EXT=bb1"}, []string{"warning bad-gridsquare GRIDSQUARE_EXT"},
			func(t *testing.T, s Spot) { assert.Equal(t, "JJ00aa00", s.TransmitterLocator) }},
		{[]string{"GRIDSQUARE=JJ00aa00", "GRIDSQUARE_EXT=bb11cc"}, []string{"warning normalised GRIDSQUARE_EXT"},
			func(t *testing.T, s Spot) { assert.Equal(t, "JJ00aa00bb11", s.TransmitterLocator) }},
		{[]string{"ANT_EL=100"}, []string{"warning normalised ANT_EL"}, func(*testing.T, Spot) {}},
		{[]string{"ANT_AZ=north"}, []string{"warning bad-number ANT_AZ"}, func(*testing.T, Spot) {}},
		{[]string{"SUBMODE=FT8"}, []string{"warning unknown-submode SUBMODE"}, func(t *testing.T, s Spot) { assert.Equal(t, "FT8", s.Submode) }},
		{[]string{"SUBMODE=" + strings.Repeat("X", 41)}, []string{"warning unknown-submode SUBMODE"}, func(t *testing.T, s Spot) { assert.Empty(t, s.Submode) }},
		{[]string{"RST_RCVD=59"}, []string{"warning report-not-db RST_RCVD"}, func(t *testing.T, s Spot) { assert.Equal(t, "RST_SENT", s.From) }},
		{[]string{"RST_RCVD=-"}, []string{"warning report-not-db RST_RCVD"}, func(*testing.T, Spot) {}},
		{[]string{"RST_RCVD=R-12"}, []string{"warning report-not-db RST_RCVD"}, func(*testing.T, Spot) {}},
		{[]string{"RST_RCVD=-123"}, []string{"warning report-not-db RST_RCVD"}, func(*testing.T, Spot) {}},
		{[]string{"FREQ", "BAND=20M"}, []string{}, func(t *testing.T, s Spot) { assert.Equal(t, "20m", s.Band); assert.Nil(t, s.FrequencyMHz) }},
		{[]string{"BAND"}, []string{}, func(t *testing.T, s Spot) { assert.Equal(t, "20m", s.Band) }},
		// Split over two bands: what was heard here was heard on the receiving side's band.
		{[]string{"FREQ_RX=7.05"}, []string{}, func(t *testing.T, s Spot) { assert.Equal(t, "40m", s.Band); assert.Equal(t, 7.05, *s.FrequencyMHz) }},
		{[]string{"BAND_RX=40m"}, []string{}, func(t *testing.T, s Spot) { assert.Equal(t, "40m", s.Band); assert.Nil(t, s.FrequencyMHz) }},
		{[]string{"BAND_RX=20m"}, []string{}, func(t *testing.T, s Spot) { assert.Equal(t, 14.0971, *s.FrequencyMHz) }},
	}
	for _, c := range cases {
		t.Run(strings.Join(c.changes, " "), func(t *testing.T) {
			r := one(t, base(c.changes...))
			assert.True(t, r.Accepted)
			assert.Equal(t, c.want, kinds(r.Findings))
			require.Len(t, r.Spots, 1)
			c.check(t, r.Spots[0])
		})
	}
}

func TestNoSpot(t *testing.T) {
	cases := []struct {
		changes []string
		want    string
	}{
		{[]string{"MODE=CW", "RST_SENT=599"}, "mode CW gives no report in dB"},
		{[]string{"MODE=PSK", "SUBMODE=PSK31", "RST_SENT=59"}, "mode PSK PSK31 gives no report in dB"},
		{[]string{"MODE=MFSK", "SUBMODE=MFSK16", "RST_SENT=59"}, "mode MFSK MFSK16 gives no report in dB"},
		{[]string{"MODE=FSK441", "RST_SENT=26"}, "mode FSK441 gives no report in dB"},
		{[]string{"RST_SENT"}, "no report in RST_SENT or RST_RCVD"},
		{[]string{"RST_SENT=599"}, "no report in dB in RST_SENT or RST_RCVD"},
		{[]string{"RST_SENT", "RST_RCVD=-10", "SWL=y"}, "a listener's record (SWL) without a report in RST_SENT"},
	}
	for _, c := range cases {
		r := one(t, base(c.changes...))
		assert.True(t, r.Accepted)
		assert.Empty(t, r.Spots)
		assert.Equal(t, c.want, r.NoSpot)
	}
}

// TestStructure: damage of the tags.
func TestStructure(t *testing.T) {
	good := base()
	cases := []struct {
		name, text string
		accepted   []bool
		want       []string
	}{
		{"length past the end, good records behind it stay", "<NOTE:999>x" + good + good, []bool{false, true}, []string{"error length-past-end NOTE"}},
		{"length that overflows", "<NOTE:99999999999999999999>x" + good, []bool{false}, []string{"error length-past-end NOTE"}},
		{"second header end", good + "<EOH>" + good + good, []bool{true, false, true}, []string{"error unexpected-eoh "}},
		{"spare end mark", good + "<EOR>" + good, []bool{true, false, true}, []string{"error empty-record "}},
		{"less-than in a comment", good + "1 < 2 " + good, []bool{true, false}, []string{"error bad-tag "}},
		{"text behind other data", "<NOTE:1>xy " + good, []bool{true}, []string{"warning text-after-data NOTE"}},
		{"type unknown", "<NOTE:1:Q>x " + good, []bool{true}, []string{"warning unknown-type NOTE"}},
		{"length over-long by the blank", "<CALL:6>Q1ABC " + base("CALL"), []bool{true}, []string{"warning blank-around-data CALL"}},
		{"repeated unknown field", "<x_y:1>a <X_Y:1>b " + good, []bool{false}, []string{"error duplicate-field X_Y"}},
		{"blank in a name", "<CALL :5>Q1ABC " + base("CALL"), []bool{false}, []string{"error bad-tag ", "error missing-field CALL"}},
		{"letter as length", "<CALL:x>Q1ABC " + base("CALL"), []bool{false}, []string{"error bad-tag ", "error missing-field CALL"}},
		{"tag without end", "<" + strings.Repeat("x", 300) + good, []bool{false}, []string{"error bad-tag "}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			sum, records := readString(t, c.text)
			assert.Empty(t, sum.Findings)
			var accepted []bool
			var findings []Finding
			for _, r := range records {
				accepted = append(accepted, r.Accepted)
				findings = append(findings, r.Findings...)
			}
			assert.Equal(t, c.accepted, accepted)
			assert.Equal(t, c.want, kinds(findings))
		})
	}
}

func TestBadTagIsShown(t *testing.T) {
	cases := []struct{ text, want string }{
		{"<CALL:x>Q1ABC ", `"<CALL:x>" has a length that is not a whole number`},
		{"<CALL:-5>Q1ABC ", `"<CALL:-5>" has a length that is not a whole number`},
		{"<CALL:5x<b:1>1 ", `"<CALL:5" has a length that is not a whole number`},
		{"<CALL:5:S<b:1>1 ", `"<CALL:5:S" has no ">"`},
		{"<:5>Q1ABC ", `"<" has no field name before a colon`},
		{"<CALL>Q1ABC ", `"<CALL>" has no length`},
	}
	for _, c := range cases {
		r := one(t, c.text+base())
		assert.False(t, r.Accepted)
		assert.Equal(t, c.want, r.Findings[0].Msg)
	}
}

func TestManyFieldsAndFindings(t *testing.T) {
	var fields strings.Builder
	for i := range maxFields + 50 {
		fmt.Fprintf(&fields, "<F%d:1>x ", i)
	}
	r := one(t, fields.String()+base())
	assert.False(t, r.Accepted)
	assert.Len(t, r.Fields, maxFields)
	r = one(t, strings.Repeat("<x>", 1000)+base())
	assert.False(t, r.Accepted)
	assert.Len(t, r.Findings, maxFindings)
}

func TestHeaders(t *testing.T) {
	good := base()
	cases := []struct {
		name, text string
		header     *Header
		records    int
		want       []string
	}{
		{"header that begins with a tag", "<ADIF_VER:5>3.1.6 <EOH>" + good, &Header{Fields: map[string]string{"ADIF_VER": "3.1.6"}}, 1,
			[]string{"warning header-without-text "}},
		{"text, no end of header", "my log\n" + good + good, &Header{Text: "my log", Fields: map[string]string{}}, 2, []string{"warning missing-eoh "}},
		{"header cut", "my log <ADIF_VER:5>3.1.6", &Header{Text: "my log", Fields: map[string]string{"ADIF_VER": "3.1.6"}}, 0, []string{"error missing-eoh "}},
		{"header only", "my log <ADIF_VER:5>3.1.6 <EOH>", &Header{Text: "my log", Fields: map[string]string{"ADIF_VER": "3.1.6"}}, 0, []string{}},
		{"bad definitions", "x <USERDEF1:4>A,{B <USERDEFX:1>A <USERDEF2:9>A,{9:1.0} <USERDEF3:3>A{} <b> <EOH>" + good, &Header{Text: "x", Fields: map[string]string{}}, 1,
			[]string{"warning bad-userdef USERDEF1", "warning bad-userdef USERDEFX", "warning bad-userdef USERDEF2", "warning bad-userdef USERDEF3", "warning bad-tag "}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			sum, records := readString(t, c.text)
			assert.Equal(t, c.header, sum.Header)
			assert.Len(t, records, c.records)
			assert.Equal(t, c.want, kinds(sum.Findings))
		})
	}
}

func TestNotADI(t *testing.T) {
	cases := []struct{ name, text, want string }{
		{"ADX", `<?xml version="1.0"?><ADX><RECORDS/></ADX>`, "XML (ADX"},
		{"ADX without a declaration", "\ufeff <adx><HEADER/></adx>", "XML (ADX"},
		{"UTF-16", "\xff\xfe<\x00C\x00", "UTF-16"},
		{"UTF-16 without a mark", "<\x00C\x00A\x00", "UTF-16"},
		{"gzip", "\x1f\x8b\x08<CALL:5>Q1ABC", "compressed"},
		{"web page", "\n<html>", "web page"},
		{"table", "time,call\n", "no data specifier"},
		{"marks only", "<EOH><EOR>", "no data specifier"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			sum, records := readString(t, c.text)
			assert.True(t, sum.Rejected)
			assert.Empty(t, records)
			last := sum.Findings[len(sum.Findings)-1]
			assert.Equal(t, "not-adi", last.Kind)
			assert.Contains(t, last.Msg, c.want)
			assert.NotEmpty(t, last.Mend)
		})
	}
}

func TestEmpty(t *testing.T) {
	for _, text := range []string{"", " \r\n\t", "\ufeff", "\ufeff\n"} {
		sum, records := readString(t, text)
		assert.False(t, sum.Rejected)
		assert.Empty(t, records)
		assert.Nil(t, sum.Header)
		assert.Contains(t, kinds(sum.Findings), "warning empty-file ")
	}
}

func TestLimitAndErrors(t *testing.T) {
	_, err := Read(strings.NewReader(""), MaxFileBytes+1, nil)
	require.ErrorIs(t, err, ErrTooLarge)
	assert.ErrorContains(t, err, "at most 2147483648 bytes are read")
	_, err = readAll(strings.NewReader("12345"), -1, 4)
	require.ErrorIs(t, err, ErrTooLarge)
	data, err := readAll(strings.NewReader("1234"), 2, 4) // the file grew behind its stated size
	require.NoError(t, err)
	assert.Equal(t, "1234", string(data))

	broken := errors.New("disk gone")
	_, err = Read(io.MultiReader(strings.NewReader(base()), iotest.ErrReader(broken)), -1, nil)
	require.ErrorIs(t, err, broken)

	stop := errors.New("stop")
	sum, err := Read(strings.NewReader(base()+base()), -1, func(*Record) error { return stop })
	require.ErrorIs(t, err, stop)
	assert.Equal(t, 1, sum.Records)
}

func TestFieldsOnlyWhenWanted(t *testing.T) {
	_, err := Options{}.Read(strings.NewReader(base()), -1, func(r *Record) error {
		assert.Nil(t, r.Fields)
		assert.Len(t, r.Spots, 1)
		return nil
	})
	require.NoError(t, err)
}

// TestBands: ADIF 3.1.6, Band enumeration; both edges belong to the band.
func TestBands(t *testing.T) {
	cases := []struct {
		mhz  float64
		want string
	}{
		{54, "6m"}, {54.000001, "5m"}, {54.0000005, ""}, {14, "20m"}, {14.35, "20m"}, {14.351, ""}, {0.1357, "2190m"}, {0.1, ""}, {7500000, "submm"},
		{7500001, ""}, {-1, ""}, {0, ""}, {math.NaN(), ""}, {math.Inf(1), ""}, {math.Inf(-1), ""},
	}
	for _, c := range cases {
		name, ok := BandOf(c.mhz)
		assert.Equal(t, c.want != "", ok, "%v", c.mhz)
		if ok {
			assert.Equal(t, c.want, name)
		}
	}
	_, _, ok := BandEdges("21m")
	assert.False(t, ok)

	before := math.Inf(-1)
	for _, name := range Bands() {
		lo, hi, ok := BandEdges(name)
		require.True(t, ok)
		assert.Less(t, before, lo, "bands are apart and in order")
		assert.Less(t, lo, hi)
		for _, edge := range []float64{lo, hi} {
			got, ok := BandOf(edge)
			assert.True(t, ok)
			assert.Equal(t, name, got)
		}
		before = hi
	}
}

// TestTables: every name of the tables can be found, and no submode has the name of a mode.
func TestTables(t *testing.T) {
	for name, s := range submodeTable {
		assert.LessOrEqual(t, len(name), maxModeName)
		assert.NotContains(t, modeTable, name)
		assert.Equal(t, strings.ToUpper(name), name)
		assert.Contains(t, strings.Split(s.parent.submodes, ","), name)
	}
	for id := fieldCall; id < numFields; id++ {
		assert.Equal(t, id, fieldOf([]byte(strings.ToLower(id.String()))))
	}
}

// TestAnyDataRoundTrips: whatever bytes the data hold, the lengths alone tell where a field ends.
func TestAnyDataRoundTrips(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		notes := rapid.SliceOfN(rapid.SliceOfN(rapid.SampledFrom([]byte("<>:EORcall50\r\n\x80 ")), 1, 40), 1, 8).Draw(rt, "notes")
		var b strings.Builder
		for _, n := range notes {
			b.WriteString(base("NOTES=" + string(n)))
		}
		sum, records := readString(t, b.String())
		require.Empty(rt, sum.Findings)
		require.Len(rt, records, len(notes))
		for i, r := range records {
			require.True(rt, r.Accepted)
			require.Equal(rt, string(notes[i]), r.Fields["NOTES"])
			require.Len(rt, r.Spots, 1)
		}
	})
}
