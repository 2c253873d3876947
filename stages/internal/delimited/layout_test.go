package delimited

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func layout(t testing.TB, text string) TimeLayout {
	t.Helper()
	l, err := ParseTimeLayout(text)
	require.NoError(t, err)
	assert.Equal(t, text, l.String())
	return l
}

// TestTimes: the first block of RFC 3339 rows is from its section 5.8, examples.
func TestTimes(t *testing.T) {
	cases := []struct {
		layout, text, want string
		seconds            bool
	}{
		{"rfc3339", "1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.52Z", true},
		{"rfc3339", "1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z", true},
		{"rfc3339", "1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.87Z", true},
		{"rfc3339", "2026-02-03t12:00:15z", "2026-02-03T12:00:15Z", true},
		{"rfc3339", " 2026-02-03 12:00:15+02:00 ", "2026-02-03T10:00:15Z", true},
		{"rfc3339", "2024-02-29T00:00:00-00:00", "2024-02-29T00:00:00Z", true},
		{"rfc3339", "2026-02-03T12:00:15.1234567899Z", "2026-02-03T12:00:15.123456789Z", true},
		{"unix", "0", "1970-01-01T00:00:00Z", true},
		{"unix", "1770120015", "2026-02-03T12:00:15Z", true},
		{"unix", "1770120015.25", "2026-02-03T12:00:15.25Z", true},
		{"unix_ms", "1770120015250", "2026-02-03T12:00:15.25Z", true},
		{"YYYY-MM-DD hh:mm:ss", "2026-02-03 12:00:15", "2026-02-03T12:00:15Z", true},
		{"YYYYMMDD hhmm", "20260203 1200", "2026-02-03T12:00:00Z", false},
		{"YYYYMMDDhhmmss", "20260203120015", "2026-02-03T12:00:15Z", true},
		{"DD.MM.YYYY hh:mm", "03.02.2026 12:00", "2026-02-03T12:00:00Z", false},
		{"YYYY-MM-DDThh:mmZ", "2026-02-03T12:00Z", "2026-02-03T12:00:00Z", false},
		{"hh:mm:ss MM/DD/YYYY", "23:59:59 02/29/2000", "2000-02-29T23:59:59Z", true},
	}
	for _, c := range cases {
		got, seconds, err := layout(t, c.layout).Parse(c.text)
		require.NoError(t, err, c.text)
		assert.Equal(t, c.want, got.Format(time.RFC3339Nano), c.text)
		assert.Equal(t, time.UTC, got.Location())
		assert.Equal(t, c.seconds, seconds, c.text)
	}
}

func TestBadTimes(t *testing.T) {
	cases := []struct{ layout, text, want string }{
		{"rfc3339", "", `"" is empty: write a time`},
		{"rfc3339", "2026-02-03T12:00:15", `"2026-02-03T12:00:15" has no time zone: write Z behind it if the clock was UTC, else the offset, for example +02:00`},
		{"rfc3339", "2026-02-03T12:00:15.5", "has no time zone"},
		{"rfc3339", "2026-02-03T12:00:15 UTC", `has " UTC" where the offset from UTC belongs: write Z or an offset such as +02:00`},
		{"rfc3339", "2026-02-03T12:00:15+0200", "where the offset from UTC belongs"},
		{"rfc3339", "2026-02-03T12:00:15+02:60", "where the offset from UTC belongs"},
		{"rfc3339", "2026-02-03T12:00:15+24:00", "where the offset from UTC belongs"},
		{"rfc3339", "2026-02-03T12:00:15+", "where the offset from UTC belongs"},
		{"rfc3339", "2026-02-03T12:00:15.Z", "has a decimal point without digits"},
		{"rfc3339", "2026-02-03T12:00Z", "is not a time of RFC 3339"},
		{"rfc3339", "2026-2-3T12:00:15Z", "is not a time of RFC 3339"},
		{"rfc3339", "03.02.2026 12:00:15", `write 2026-02-03T12:00:15Z, or give the time_layout of this column`},
		{"rfc3339", "2026", "is not a time of RFC 3339"},
		{"rfc3339", "1990-12-31T23:59:60Z", `is a leap second: write 59 for the second, or 00 of the next minute`},
		{"rfc3339", "2026-02-29T00:00:00Z", "has the day 29 in a month of 28"},
		{"rfc3339", "1900-02-29T00:00:00Z", "has the day 29 in a month of 28"},
		{"rfc3339", "2026-04-31T00:00:00Z", "has the day 31 in a month of 30"},
		{"rfc3339", "2026-13-01T00:00:00Z", "has the month 13: see whether day and month are the other way round"},
		{"rfc3339", "2026-00-01T00:00:00Z", "has the month 0"},
		{"rfc3339", "2026-01-00T00:00:00Z", "has the day 0"},
		{"rfc3339", "2026-01-01T24:00:00Z", "has the time of day 24:00"},
		{"rfc3339", "2026-01-01T00:60:00Z", "has the time of day 00:60"},
		{"rfc3339", "2026-01-01T00:00:61Z", "has the second 61"},
		{"rfc3339", "0000-01-01T00:00:00Z", "has the year 0"},
		{"unix", "1770120015250", `is too large for seconds since 1970: write time_layout = "unix_ms" if it counts milliseconds`},
		{"unix_ms", "1770120015", `is too small for milliseconds since 1970: write time_layout = "unix" if it counts seconds`},
		{"unix_ms", "177012001525000", "is too large for milliseconds"},
		{"unix_ms", "1770120015250.5", "is not a count since 1970"},
		{"unix", "-5", "is not a count since 1970"},
		{"unix", "+5", "is not a count since 1970"},
		{"unix", "1.77e9", "is not a count since 1970"},
		{"unix", "5.", "is not a count since 1970"},
		{"unix", ".5", "is not a count since 1970"},
		{"unix", strings.Repeat("9", 30), "is not a count since 1970"},
		{"YYYY-MM-DD hh:mm:ss", "2026-02-03T12:00:15", `is not written as "YYYY-MM-DD hh:mm:ss"`},
		{"YYYY-MM-DD hh:mm:ss", "2026-02-03 12:00", `is not written as`},
		{"YYYY-MM-DD hh:mm:ss", "2026-02-3 12:00:15", `is not written as`},
		{"YYYY-MM-DD hh:mm:ss", "2026-02-03 12:00:15.5", `goes on with ".5" behind the layout "YYYY-MM-DD hh:mm:ss"`},
		{"YYYY-MM-DD hh:mm:ss", "2016-12-31 23:59:60", "is a leap second"},
		{"MM/DD/YYYY hh:mm", "13/02/2026 12:00", "has the month 13: see whether day and month are the other way round"},
	}
	for _, c := range cases {
		_, seconds, err := layout(t, c.layout).Parse(c.text)
		require.ErrorContains(t, err, c.want, c.text)
		assert.False(t, seconds)
		var cell *CellError
		require.ErrorAs(t, err, &cell)
		assert.Equal(t, c.text, cell.Value)
	}
	_, _, err := TimeLayout{}.Parse("12")
	require.ErrorContains(t, err, "without a time layout")
}

func TestBadLayouts(t *testing.T) {
	cases := []struct{ text, want string }{
		{"", `time layout "" can't be used: it has no YYYY`},
		{"RFC3339", `"RFC" in it is no part of a time`},
		{"yyyy-MM-DD hh:mm", `"yyyy" in it is no part of a time`},
		{"YYYY-MM-DD HH:mm", `"HH" in it is no part of a time`},
		{"%Y-%m", `"%Y" in it is no part of a time`},
		{"YY-MM-DD hh:mm", `"YY" in it is no part of a time`},
		{"YYYY-MM-DD hh:MM", "MM stands in it twice"},
		{"YYYY-MM-DD hh", "it has no mm"},
		{"YYYY-MM-DD", "it has no hh"},
		{"MM-DD hh:mm", "it has no YYYY"},
		{"YYYY DD hh:mm", `it has no MM; write "rfc3339", "unix", "unix_ms" or a layout such as "YYYY-MM-DD hh:mm:ss"`},
	}
	for _, c := range cases {
		_, err := ParseTimeLayout(c.text)
		assert.ErrorContains(t, err, c.want)
	}
}

// TestWrittenTimesRoundTrip: a time written by the standard library in any zone comes back as the same moment.
func TestWrittenTimesRoundTrip(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		// 1930 to 2106; a day of room for the zone.
		moment := time.Unix(rapid.Int64Range(-1_262_300_000, 1<<32).Draw(rt, "s"), rapid.Int64Range(0, 999_999_999).Draw(rt, "ns"))
		zone := time.FixedZone("", 60*rapid.IntRange(-14*60, 14*60).Draw(rt, "minutes"))
		got, _, err := layout(t, "rfc3339").Parse(moment.In(zone).Format(time.RFC3339Nano))
		require.NoError(rt, err)
		require.True(rt, moment.Equal(got))

		got, _, err = layout(t, "DD.MM.YYYY hh:mm:ss").Parse(moment.UTC().Format("02.01.2006 15:04:05"))
		require.NoError(rt, err)
		require.Equal(rt, moment.Unix(), got.Unix())
	})
}

func FuzzTimeLayout(f *testing.F) {
	for _, seed := range [][2]string{{"rfc3339", "2026-02-03T12:00:15.5+02:00"}, {"unix", "1770120015.5"}, {"unix_ms", "1770120015250"},
		{"YYYY-MM-DD hh:mm:ss", "2026-02-03 12:00:15"}, {"YYYYMMDDThhmmZ", "20260203T1200Z"}, {"", ""}} {
		f.Add(seed[0], seed[1])
	}
	f.Fuzz(func(t *testing.T, text, cell string) {
		l, err := ParseTimeLayout(text)
		if err != nil {
			return
		}
		got, seconds, err := l.Parse(cell)
		if err != nil {
			require.True(t, got.IsZero())
			require.False(t, seconds)
			return
		}
		require.Equal(t, time.UTC, got.Location())
		if l.form == formRFC3339 {
			// The standard library takes the same times, once T and Z are in capitals.
			plain := []byte(strings.ToUpper(strings.TrimSpace(cell)))
			plain[10] = 'T'
			want, err := time.Parse(time.RFC3339Nano, string(plain))
			require.NoError(t, err)
			require.True(t, want.Equal(got), "%v %v", want, got)
		}
	})
}

func BenchmarkParseTime(b *testing.B) {
	for _, c := range [][2]string{{"rfc3339", "2026-02-03T12:00:15Z"}, {"YYYY-MM-DD hh:mm:ss", "2026-02-03 12:00:15"}, {"unix", "1770120015"}} {
		l := layout(b, c[0])
		b.Run(c[0], func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, _, err := l.Parse(c[1]); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
