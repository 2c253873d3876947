package handover

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
)

// The hash can be redone by hand: printf %s Q2ABC | openssl dgst -sha256 -mac hmac -macopt hexkey:K, where K is made in the same way
// from the key and "stations 7 ridge-wire".
func TestKey(t *testing.T) {
	k, err := ParseKey([]byte(" 000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f\n"))
	require.NoError(t, err)
	require.Equal(t, "000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f\n", string(k.Text()))
	require.Equal(t, "9e404dc2142e4568", k.Operator())
	require.Equal(t, "ab01eb949f99", hashCall(k.stations("7 ridge-wire"), "Q2ABC"))
	require.NotEqual(t, hashCall(k.stations("7 ridge-wire"), "Q2ABC"), hashCall(k.stations("8 ridge-wire"), "Q2ABC"), "other experiments, other hashes")
	for _, suffix := range []string{"/M", "/MM", "/AM"} {
		require.True(t, strings.HasSuffix(hashCall(k[:], "Q2ABC"+suffix), suffix), "the judge asks for it")
	}
	require.NotContains(t, hashCall(k[:], "Q2ABC/P"), "/")
	require.NotEqual(t, NewKey(), NewKey())
	for _, bad := range []string{"", "00", strings.Repeat("0", 63), strings.Repeat("0", 66), strings.Repeat("g", 64)} {
		_, err := ParseKey([]byte(bad))
		require.ErrorContains(t, err, "64 hexadecimal digits")
	}
}

func stations(rows ...[]any) arrow.Record {
	b := table.NewBuilder(datasets.Stations())
	for _, row := range rows {
		b.Append(row...)
	}
	return b.Record()
}

// given are tables of a small trial; those that are not named are empty.
func given(tables map[string]arrow.Record) map[string]arrow.Record {
	out := map[string]arrow.Record{}
	for name, schema := range map[string]*arrow.Schema{"stations": datasets.Stations(), "dwells": datasets.Dwells(), "sweeps": datasets.Sweeps(), "receptions": datasets.Receptions(), "listening": datasets.Listening()} {
		out[name] = table.NewBuilder(schema).Record()
	}
	for name, rec := range tables {
		out[name] = rec
	}
	return out
}

func TestStationsAreHidden(t *testing.T) {
	hidden := NewHidden()
	out, err := Key{1}.HideTables(given(map[string]arrow.Record{"stations": stations(
		[]any{0, "Q2ABC", "MN83kp", "MN83kp", 53.6, 77.1, 359.6, 1234.5, 3.87, "000-030 deg, 1200-2700 km"},
		[]any{1, "Q2ABC", "MN93aa", "MN93aa", 53.1, 78.1, 0.4, 4.9, 3.94, "own square"},
		[]any{2, "Q3DEF/M", "", nil, nil, nil, nil, nil, nil, "unknown"},
		[]any{3, "Q4GHI", "53.000000,78.000000", nil, 53.0, 78.0, 180.5, 15.0, 0.0, "180-210 deg, 0-1200 km"},
	)}), "7 x", hidden)
	require.NoError(t, err)
	r := table.NewReader(out["stations"])
	require.True(t, r.Next())
	hash := r.Str("call")
	require.Equal(t, []any{"a", 0.0, 1230.0, 3.9, "000-030 deg, 1200-2700 km"}, []any{r.Str("place"), r.Float("bearing_deg"), r.Float("distance_km"), r.Float("position_radius_km"), r.Str("region")})
	for _, column := range []string{"locator", "latitude", "longitude"} {
		require.True(t, r.Null(column), column)
	}
	require.True(t, r.Next())
	require.Equal(t, []any{hash, "b", 0.0, 0.0}, []any{r.Str("call"), r.Str("place"), r.Float("bearing_deg"), r.Float("distance_km")}, "the same call at another place")
	require.True(t, r.Next())
	require.True(t, strings.HasSuffix(r.Str("call"), "/M"))
	require.Equal(t, "", r.Str("place"), "a station without a place has none")
	require.True(t, r.Null("bearing_deg") && r.Null("distance_km"))
	require.True(t, r.Next())
	require.Equal(t, []any{"a", 181.0, 20.0}, []any{r.Str("place"), r.Float("bearing_deg"), r.Float("distance_km")})

	require.Equal(t, []string{"Q2ABC", "Q3DEF/M", "Q4GHI"}, hidden.Calls)
	require.Equal(t, []string{"MN83kp", "MN93aa"}, hidden.Locators)
	require.Equal(t, 1, hidden.Positions)
	require.Equal(t, []string{"a", "z", "a2", "b2", "a3"}, []string{placeName(1), placeName(26), placeName(27), placeName(28), placeName(53)})
}

func TestReasonsKeepTheirKind(t *testing.T) {
	for home, away := range map[string]string{
		"dropped: Q2ABC came by": "dropped", "dropped": "dropped",
		"dropped after the first look: rain": "dropped after the first look", "dropped after the first look": "dropped after the first look",
		"not run: ended before": "not run: ended before", "not run": "not run", "paused inside": "paused inside",
		"late switch: high was connected 65 s after its dwell began": "late switch: high was connected 65 s after its dwell began",
		"something new: with words":                                  "something new",
	} {
		hidden := NewHidden()
		require.Equal(t, away, (&hider{hidden: hidden}).reason(&home))
		if strings.Contains(home, "Q2ABC") {
			require.Equal(t, []string{"Q2ABC came by"}, hidden.Notes)
		}
	}
	require.Nil(t, (&hider{}).reason(nil))
}

func TestSweepsKeepTheirOrder(t *testing.T) {
	b := table.NewBuilder(datasets.Sweeps())
	names := []string{"a/10.s1p", "a/2.s1p", "a/9.s1p", "b", "c", "d", "e", "f", "g", "h"}
	for i, name := range names {
		b.Append("low", name, "radio", true, 14.0, nil, nil, 50.0, 1.5, nil, nil, nil, nil, nil, i)
	}
	hidden := NewHidden()
	out, err := Key{}.HideTables(given(map[string]arrow.Record{"sweeps": b.Record()}), "7 x", hidden)
	require.NoError(t, err)
	require.NoError(t, table.CheckSorted(out["sweeps"], table.SortKeys(datasets.Sweeps())))
	r := table.NewReader(out["sweeps"])
	require.True(t, r.Next())
	require.Equal(t, []any{"sweep-01", int64(0)}, []any{r.Str("sweep"), r.Int("line")})
	require.Equal(t, names, hidden.Sweeps)
	require.Equal(t, "sweep-10", hidden.Texts["h"])
}

// A text column that comes with a later version must not leave before somebody has thought of it.
func TestUnknownTextColumnsStayHome(t *testing.T) {
	for _, rows := range []int{0, 1} {
		b := table.NewBuilder(arrow.NewSchema([]arrow.Field{{Name: "operator", Type: arrow.BinaryTypes.String}}, nil))
		for range rows {
			b.Append("Q2ABC")
		}
		_, err := Key{}.HideTables(given(map[string]arrow.Record{"receptions": b.Record()}), "7 x", NewHidden())
		require.ErrorContains(t, err, `table receptions: it has a text column "operator", and nothing says what may leave the house of it`)
	}
}

func TestPathsAreRounded(t *testing.T) {
	b := table.NewBuilder(datasets.Paths())
	b.Append(1, "20m", 1, 0, time.Unix(0, 0), -0.4, 12.5, -33.3, "under 100 km", 1, 4.49, nil, nil, nil, nil, nil, nil, nil, 38449.0, 359.7, false)
	r := table.NewReader(RoundPaths(b.Record()))
	require.True(t, r.Next())
	require.Equal(t, []float64{0, 13, -33, 4, 38400, 0}, []float64{r.Float("sun_own_deg"), r.Float("sun_midpoint_deg"), r.Float("sun_far_deg"), r.Float("e_takeoff_deg"), r.Float("long_path_km"), r.Float("long_path_bearing_deg")})
	require.False(t, math.Signbit(r.Float("sun_own_deg")), "zero has no sign")
	require.True(t, r.Null("e_more_takeoff_deg"))
}

func TestAccountsAreHidden(t *testing.T) {
	when := time.Date(2026, 9, 12, 4, 0, 0, 0, time.UTC)
	value := 3.9
	home, err := json.Marshal(account.Trial{Ended: true, Losses: []account.Loss{{Band: "20m", Share: 0.1, P: 0.5}}, Warnings: []account.Warning{{Code: "no_dwell", Text: "a text"}},
		Events: []account.LogEvent{{Kind: account.Deviation, Time: when, Note: "Q2ABC helped"}, {Kind: account.Remark, Time: when, Note: "at the lake"}, {Kind: account.Power, Time: when, Value: &value}}})
	require.NoError(t, err)
	hidden := NewHidden()
	text, err := HideTrial(home, hidden)
	require.NoError(t, err)
	var trial account.Trial
	require.NoError(t, json.Unmarshal(text, &trial))
	require.Equal(t, []account.LogEvent{{Kind: account.Deviation, Time: when}, {Kind: account.Power, Time: when, Value: &value}}, trial.Events)
	require.Equal(t, []string{"Q2ABC helped", "at the lake"}, hidden.Notes)
	require.True(t, trial.Ended)
	require.Len(t, trial.Losses, 1)

	home, err = json.Marshal(account.Intake{Read: 12, Used: 7, Last: &when, Warnings: []account.Warning{{Code: "times_doubtful", Text: "doubtful", File: "spots/of-Q2ABC.adi"}, {Code: "other", Text: "plain"}}})
	require.NoError(t, err)
	text, err = HideIntake(home, map[string]string{"spots/of-Q2ABC.adi": "input-1"}, hidden)
	require.NoError(t, err)
	require.NotContains(t, string(text), "Q2ABC")
	require.Equal(t, "input-1: doubtful", hidden.Texts["spots/of-Q2ABC.adi: doubtful"])
	read, used, last, err := Rows(text)
	require.NoError(t, err)
	require.Equal(t, []any{12, 7, when}, []any{read, used, last})
	_, err = HideIntake(home, nil, hidden)
	require.ErrorContains(t, err, "is no input")

	away, err := hidden.Away([]byte(`{"claims":[{"arms":["spots/of-Q2ABC.adi: doubtful"],"warnings":[{"text":"spots/of-Q2ABC.adi: doubtful","code":"x"}],"p":0.0100}]}`))
	require.NoError(t, err)
	want, err := SortedVerdicts([]byte(`{"claims":[{"p":0.0100,"warnings":[{"code":"x","text":"input-1: doubtful"}],"arms":["spots/of-Q2ABC.adi: doubtful"]}]}`))
	require.NoError(t, err)
	require.Equal(t, string(want), string(away), "texts of warnings and names of sweeps change, and nothing else")
}

func TestLogLosesItsNotes(t *testing.T) {
	hidden := NewHidden()
	text, err := HideLog([]byte("\ufefftime,entered,event,session,band,block,arm,value,note\r\n2026-09-12T04:00:00Z,,remark,,,,,,\"Q2ABC, again\"\r\n2026-09-12T04:00:00Z,,connected,1,20m,1,low,, \r\n"), hidden)
	require.NoError(t, err)
	require.Equal(t, "time,entered,event,session,band,block,arm,value,note\n2026-09-12T04:00:00Z,,remark,,,,,,\n2026-09-12T04:00:00Z,,connected,1,20m,1,low,,\n", string(text))
	require.Equal(t, []string{"Q2ABC, again"}, hidden.Notes)
	for _, bad := range []string{"", "time,event\n", "a,\"b\n"} {
		_, err := HideLog([]byte(bad), hidden)
		require.Error(t, err, bad)
	}
	empty, err := HideLog(EmptyLog(), hidden)
	require.NoError(t, err)
	require.Equal(t, EmptyLog(), empty)
}

func TestLicences(t *testing.T) {
	for id, want := range map[string]Licence{
		"cc-by-4.0": {"CC-BY-4.0", "https://creativecommons.org/licenses/by/4.0/", "Creative Commons Attribution 4.0"},
		"ODBL-1.0":  {"ODbL-1.0", "https://opendatacommons.org/licenses/odbl/1-0/", "Open Data Commons Open Database License 1.0"},
		"MIT":       {ID: "MIT"}, "CC-BY-SA-4.0": {ID: "CC-BY-SA-4.0"},
	} {
		l, err := LicenceOf(id)
		require.NoError(t, err)
		require.Equal(t, want, l)
	}
	for _, bad := range []string{"", "MIT OR X", "NOASSERTION", "none", "-x", "a/b", "(MIT)", strings.Repeat("a", 65), "ä"} {
		_, err := LicenceOf(bad)
		require.Error(t, err, bad)
	}
}

func TestStanding(t *testing.T) {
	s := Standing{Name: "x", Tool: "fairlobe 1", Seal: "sha256:00", SealState: "changed", SealedMs: 5, Looks: 2, Added: []string{"a"}}
	text, err := s.Encode()
	require.NoError(t, err)
	back, err := ReadStanding(text)
	require.NoError(t, err)
	s.Format = 1
	require.Equal(t, s, back)
	for _, change := range [][2]string{{`"format": 1`, `"format": 2`}, {`"changed"`, `"fine"`}, {`"looks": 2`, `"looks": 0`}, {`"sealed_ms": 5`, `"sealed_ms": 0`}, {`"changed"`, `"none"`}, {`"tool"`, `"tools"`}, {"{", ""}} {
		_, err := ReadStanding([]byte(strings.Replace(string(text), change[0], change[1], 1)))
		require.Error(t, err, change)
	}
}
