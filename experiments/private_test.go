package experiments

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// known are the demos and the good files of testdata.
func known(t *testing.T) []string {
	t.Helper()
	demos, err := filepath.Glob("*.toml")
	require.NoError(t, err)
	good, err := filepath.Glob("testdata/good/*.toml")
	require.NoError(t, err)
	require.Greater(t, len(demos), 3)
	require.Greater(t, len(good), 2)
	return append(demos, good...)
}

func private(t *testing.T, name string) (e, p *Experiment, text string) {
	t.Helper()
	e, list := Load(name)
	if e == nil && strings.HasSuffix(name, "station.toml") {
		t.Skip("a station's file")
	}
	require.NotNil(t, e, list.Error())
	out, err := e.Private()
	require.NoError(t, err)
	p, list = Parse("elsewhere/experiment.toml", out, func(name string) ([]byte, error) {
		require.Equal(t, "schedule.csv", name)
		return os.ReadFile(filepath.Join(e.Dir, e.Schedule.File))
	})
	require.NotNil(t, p, "%s\n%s", list.Error(), out)
	return e, p, string(out)
}

func TestPrivateFormDecidesTheSame(t *testing.T) {
	for _, name := range known(t) {
		t.Run(name, func(t *testing.T) {
			e, p, text := private(t, name)
			home, err := e.Canonical()
			require.NoError(t, err)
			want, err := PrivateContent(home)
			require.NoError(t, err)
			got, err := p.Canonical()
			require.NoError(t, err)
			assert.Equal(t, string(want), string(got))
			assert.Equal(t, e.Title, p.Title)

			again, err := p.Private()
			require.NoError(t, err)
			assert.Equal(t, text, string(again), "it is its own private form")
			for _, word := range append(e.Station.Calls(), e.Station.Locator) {
				assert.NotContains(t, strings.ToUpper(text), strings.ToUpper(word))
			}
		})
	}
}

// What differs is listed here once more, by hand, so that PrivateContent can't hide a loss.
func TestPrivatePartsAreTheOnlyOnes(t *testing.T) {
	e, p, text := private(t, "testdata/good/full.toml")
	home, away := e.Decisive(), p.Decisive()
	require.Equal(t, map[string]any{"call": "Q0Q", "also": []any{}, "locator": "MN83", "ground": home["station"].(map[string]any)["ground"]}, away["station"])
	require.Equal(t, map[string]any{"call": "Q0C", "locator": "MN83"}, away["control"])
	for _, key := range []string{"spots", "sweeps"} {
		require.NotEmpty(t, home[key])
		require.Empty(t, away[key])
	}
	for _, key := range []string{"station", "control", "spots", "sweeps"} {
		delete(home, key)
		delete(away, key)
	}
	require.Equal(t, home, away)
	require.True(t, strings.HasPrefix(text, "# The form that was handed over: Q0Q stands for the operator's call, Q0C for that of the control station; locators are cut to 4 characters.\n\n"))
	require.Equal(t, 1, strings.Count(text, "#"))
	require.Less(t, strings.Index(text, "[fixed]"), strings.Index(text, "[[arm]]"), "in the order of the file")
}

func TestPrivateTexts(t *testing.T) {
	text := "fairlobe = 1\ntitle = \"a \\\"b\\\" \\\\ c\"\nquestion = \"one\\ntwo\\u0009three\"\nsmallest_difference_db = 1e0\nseed = 1\n" +
		"station = { call = \"q1abc\", locator = \"mn83kp55\" }\nfixed = { mode = \"FT8\", other = { \"with \\\"marks\\\"\" = 0x10, plain = true } }\n" +
		"[[arm]]\nname = \"one\"\nother.colour = \"red\"\n[[arm]]\nname = \"two\"\nother.colour = \"blue\"\n" +
		"[schedule]\nbands = [\"20m\"]\nblocks = 6\ndwell_min = 6\nspot_interval_min = 5\nstart = 2026-09-12T04:00:00Z\n" +
		"[[claim]]\nname = \"level\"\nkind = \"level\"\ncompare = [\"one\", \"two\"]\n"
	e, list := Parse("dir/x.toml", []byte(text), nil)
	require.NotNil(t, e, list.Error())
	out, err := e.Private()
	require.NoError(t, err)
	p, list := Parse("experiment.toml", out, nil)
	require.NotNil(t, p, "%s\n%s", list.Error(), out)
	require.Equal(t, []string{e.Title, e.Question}, []string{p.Title, p.Question})
	require.Equal(t, e.Fixed, p.Fixed)
	require.Equal(t, "MN83", p.Station.Locator)

	places := map[string]string{}
	for _, one := range e.Texts() {
		places[one.Value] = one.Pos.String()
	}
	require.Equal(t, "dir/x.toml:10:16", places["red"])
	require.Equal(t, "dir/x.toml:2:9", places[e.Title])
	require.Contains(t, places, `with "marks"`, "keys of the user's choice are texts too")
	require.NotContains(t, places, "q1abc")

	_, err = (&Experiment{}).Private()
	require.ErrorContains(t, err, "not read from a file")
}

// A title in which nothing is to be seen is none.
func TestBlankTitle(t *testing.T) {
	text, err := os.ReadFile("plain-wire.toml")
	require.NoError(t, err)
	for _, title := range []string{``, `  `, `\u00a0`, `\u200b`} {
		e, list := Parse("pilot.toml", []byte(strings.Replace(string(text), `"Plain wire: feedpoint at 4.5 m against 9 m"`, `"`+title+`"`, 1)), nil)
		require.NotNil(t, e, list.Error())
		require.Equal(t, "pilot", e.Title, title)
		out, err := e.Private()
		require.NoError(t, err)
		p, list := Parse("experiment.toml", out, nil)
		require.NotNil(t, p, list.Error())
		require.Equal(t, "pilot", p.Title, title)
	}
}

func TestTitleThatIsTheFilesName(t *testing.T) {
	e, p, _ := private(t, "testdata/good/from-files.toml")
	require.Equal(t, "from-files", e.Title)
	require.Equal(t, "from-files", p.Title, "there the file has another name")
	require.Equal(t, "schedule.csv", p.Schedule.File)
	require.Equal(t, "", p.Station.File)
}
