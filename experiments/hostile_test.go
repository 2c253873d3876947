package experiments

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestHostile: files made to exhaust stack, memory or time end in a few words.
func TestHostile(t *testing.T) {
	const n = maxBytes / 2
	deep := "x.toml:1:%d: not plain TOML 1.0: more than 16 tables or lists within one another"
	var unknown strings.Builder
	for i := 0; unknown.Len() < n; i++ {
		fmt.Fprintf(&unknown, "feedpoint_height_k%d = 1\n", i)
	}
	for _, tt := range []struct{ name, text, want string }{
		{"brackets", "a = " + strings.Repeat("[", n), "nested more than the maximum"},
		{"lists", "a = " + strings.Repeat("[", 5000) + strings.Repeat("]", 5000), fmt.Sprintf(deep, 5)},
		{"tables", strings.Repeat("a = {", 200000), "nested more than the maximum"},
		{"dotted key", strings.Repeat("a.", n-9) + "a = 1", fmt.Sprintf(deep, 1)},
		{"dotted header", "[" + strings.Repeat("a.", n-9) + "a]", fmt.Sprintf(deep, 2)},
		{"arms", strings.Repeat("[[arm]]\nmast = 'a'\n[[arm]]\n", n/27), "arm has 38836 items, more than 1000"},
		{"arms, few enough to list", strings.Repeat("[[arm]]\n", 999), "999 arms are more than 20"},
		{"unknown keys", unknown.String(), "unknown key \"feedpoint_height_k77\""},
		{"bands", "[schedule]\nbands = [" + strings.Repeat("'20m',", n/6) + "]", "bands has 87381 items"},
		{"long text", "title = '" + strings.Repeat("x", n) + "'", "title has 524288 bytes, more than 4000"},
		{"long word", "[[claim]]\nkind = '" + strings.Repeat("x", 3000) + "'", "kind = 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx... is not one of"},
		{"NUL", "title = \"\x00\"", "not TOML: TOML files cannot contain control characters: '0x00'"},
		{"UTF-16", "\xff\xfet\x00i\x00", "x.toml:1:1: not TOML"},
		{"bare CR", "fairlobe = 1\rtitle = 'a'", "not TOML"},
	} {
		e, list := Parse("x.toml", []byte(tt.text), nil)
		require.Nil(t, e, tt.name)
		text := list.Error()
		if len(text) > 2000 {
			text = text[:2000] + text[len(text)-2000:]
		}
		assert.Contains(t, list.Error(), tt.want, "%s: %s", tt.name, text[:min(len(text), 600)])
	}
}

// TestControlCharacters: no text of a file steers the terminal or breaks the line of a message.
func TestControlCharacters(t *testing.T) {
	text := "\"\\u001b[31m\\nkey\" = \"\\u001b]0;x\\u0007\"\ntitle = \"\\u001b[2J\"\nquestion = '''a\n\tb'''\n[fixed.other]\n\"\\u001b\" = 1\n" +
		"[[arm]]\nname = \"a\\u2028b\"\n[[claim]]\ncompare = [\"\\u001b[1m\", \"b\"]\nkind = \"null\""
	_, list := Parse("x.toml", []byte(text), nil)
	for _, d := range list {
		assert.NotContains(t, d.String(), "\x1b")
		assert.NotContains(t, d.Msg+d.Mend, "\n")
	}
	assert.Contains(t, list.Error(), `x.toml:2:9: title = "\u001b[2J" holds a control character or line break`)
	assert.NotContains(t, list.Error(), "question =", "a question may have several lines")
}

// TestSmallFaults: faults of parts that are rare, told by their first line.
func TestSmallFaults(t *testing.T) {
	base := small(t)
	table := "\n[[spots]]\nfiles = [\"a.csv\"]\nformat = \"table\"\n[spots.columns]\ntime = \"t\"\ntransmitter = \"a\"\nreceiver = \"b\"\nsnr_db = \"c\"\n"
	for _, tt := range []struct{ old, new, want string }{
		{"power_w = 4", "wires = []", "12:9: wires is an empty list"},
		{"power_w = 4", "wires = [{ from_m = [0, 0, 1], to_m = [0, 0, 1] }]", "12:39: the wire has no length: both ends are at one place"},
		{"power_w = 4", "wires = [{ from_m = [0, 0], to_m = [0, 0, -1] }]", "12:21: from_m wants a list of 3 numbers and has 2"},
		{"power_w = 4", "wires = [{ from_m = [0, 0, 1], to_m = [0, 0, -1] }]", "12:46: -1 m is no place for the end of a wire"},
		{"power_w = 4", "other = { \"\" = 1 }", "12:11: a name in other is empty or holds a control character"},
		{"power_w = 4", "other = { a = [1] }", "12:15: a wants a number or a text or true or false, not a list"},
		{"feedpoint_height_m = 4.5", "band = \"20m\"", "16:1: unknown key \"band\" in [[arm]]\n    mend: a band can't differ between arms: name it in bands of [schedule]"},
		{"name = \"low\"", "name = \" low\"", "15:8: name = \" low\" begins or ends with a blank"},
		{`["high", "low"]`, `["high"]`, "34:11: compare wants a list of 2 texts and has 1"},
		{`["high", "low"]`, `["high", "high"]`, `34:20: arm "high" is named twice`},
		{"kind = \"level\"\ncompare = [", "kind = \"directivity\"\nshape = \"any\"\narms = [", `35:8: a claim of kind "directivity" takes one arm in arms and has 2`},
		{"kind = \"level\"\ncompare = [\"high\", \"low\"]", "kind = \"repeat\"\narms = []", "34:8: arms is an empty list"},
		{"kind = \"level\"", "kind = \"known_step\"\nstep_db = 0", "34:11: step_db = 0 is no step"},
		{"kind = \"level\"", "kind = \"level\"\ndirection = \"both\"", `34:13: direction = "both" is not one of "sent", "received"`},
		{`["20m", "10m"]`, `["20m", "20m"]`, `23:17: band "20m" is named twice`},
		{`["20m", "10m"]`, `[]`, `23:9: bands is an empty list`},
		{"start = 2026-09-12T04:00:00Z", "file = ''", "29:8: file names no file"},
		{`["spots/*.adi"]`, `[""]`, `37:10: files is empty`},
		{`["spots/*.adi"]`, `[]`, `37:9: files is an empty list`},
		{"start = 2026-09-12T04:00:00Z", "sessions = []", "29:12: sessions is an empty list"},
		{"start = 2026-09-12T04:00:00Z", "start = 04:00:00", "29:9: start = 04:00:00 does not say its distance from UTC"},
		{"start = 2026-09-12T04:00:00Z", "start = 1926-09-12T04:00:00Z", "29:9: start = 1926-09-12T04:00:00Z is not in the years 1970 to 2200"},
		{"fairlobe = 1", "fairlobe = 1\ndata = 'a\\b'", `2:8: data = 'a\b' has a backslash`},
		{"[[claim]]", table + "band = { }\n\n[[claim]]", "40:8: band has neither column nor value"},
		{"[[claim]]", table + "band = { column = \"x\", value = \"20m\" }\n\n[[claim]]", "40:32: band has column and value"},
		{"[[claim]]", table + "band = { colum = \"x\" }\n\n[[claim]]", "40:10: unknown key \"colum\" in columns.band"},
		{"[[claim]]", table + "frequency_mhz = { value = \"14,1\" }\n\n[[claim]]", "40:27: value = \"14,1\" of frequency_mhz is no number"},
		{"[[claim]]", table + "band = { value = true }\n\n[[claim]]", "40:18: value of band wants a text, not true"},
		{"[[claim]]", table + "band = [\"a\", \"b\"]\n\n[[claim]]", "40:8: band wants a whole number or a text or a table, not a list"},
		{"[[claim]]", table + "band = 3\n\n[[claim]]", "40:8: band = 3 is a number, and the file has a header"},
		{"[[claim]]", table + "band = { column = [\"a\", \"b\"] }\n\n[[claim]]", "40:19: band wants one column"},
		{"[[claim]]", table + "receiver_position = \"a\"\n\n[[claim]]", "40:21: receiver_position wants two columns, latitude and longitude"},
		{"[[claim]]", table + "\n[[claim]]", "35:8: columns has neither band nor frequency_mhz"},
		{"[[claim]]", "[[sweeps]]\narm = \"low\"\nfiles = [\"a\"]\nformat = \"table\"\ncolumns = { r_ohm = \"R\" }\n\n[[claim]]", "35:1: columns has no frequency_mhz"},
		{"[[claim]]", "[[sweeps]]\narm = \"low\"\nfiles = [\"a\"]\nformat = \"table\"\ncolumns = { r_ohm = \"R\" }\n\n[[claim]]", "35:1: columns has none of swr, return_loss_db, and r_ohm with x_ohm"},
		{"[[claim]]", "[[sweeps]]\narm = \"lo\"\nfiles = [\"a\"]\n\n[[claim]]", `32:7: there is no arm "lo"`},
	} {
		require.Contains(t, base, tt.old)
		_, list := Parse("x.toml", []byte(strings.Replace(base, tt.old, tt.new, 1)), nil)
		assert.Contains(t, list.Error(), tt.want, tt.new)
	}
}

// TestFrameOfOneWire: ways that differ by a whole turn are one way, wherever they stand, and a way with a fault of its own
// has that fault only.
func TestFrameOfOneWire(t *testing.T) {
	claim := "kind = \"directivity\"\nshape = \"one-sided\"\nframe = \"wire\""
	base := strings.Replace(small(t), "kind = \"level\"", claim, 1)
	require.Contains(t, base, claim)
	for _, tt := range []struct{ fixed, low, high, want string }{
		{"", "0", "360", ""},
		{"45.5", "", "", ""},
		{"", "", "", "is not given"},
		{"", "45", "46", "do not run the same way"},
		{"", "45", "\"north\"", "slope_azimuth_deg wants a number, not the text"},
		{"400", "", "", "slope_azimuth_deg = 400 is outside its limits"},
	} {
		text := base
		for key, way := range map[string]string{"[fixed]\n": tt.fixed, "name = \"low\"\n": tt.low, "name = \"high\"\n": tt.high} {
			require.Contains(t, text, key)
			if way != "" {
				text = strings.Replace(text, key, key+"slope_azimuth_deg = "+way+"\n", 1)
			}
		}
		_, list := Parse("x.toml", []byte(text), nil)
		if tt.want == "" {
			require.Empty(t, list.Faults(), text)
			continue
		}
		require.Len(t, list.Faults(), 1, list.Error())
		require.Contains(t, list.Error(), tt.want)
	}
}

func BenchmarkParse(b *testing.B) {
	text := []byte(small(b))
	b.ReportAllocs()
	for b.Loop() {
		if e, list := Parse("x.toml", text, nil); e == nil {
			b.Fatal(list)
		}
	}
}
