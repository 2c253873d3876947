package rehearsal_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets/rehearsal"
	"fairlobe/pipeline/diag"
)

// What can't be rehearsed is a finding with its place and a mend.
func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		name, text string
		wants      []string
	}{
		{"no spots", base, []string{"no [[spots]]", "[[spots]]\nfiles = "}},
		{"background only", base + aTable + "role = \"background\"\n", []string{"no [[spots]]"}},
		{"parquet", base + "[[spots]]\nfiles = [\"x.parquet\"]\nformat = \"parquet\"\n", []string{`"parquet"`, `format = "table"`}},
		{"a mode of one's own", replaced(t, base, `"FT8"`, "\"MINE\"\nslot_s = 15\ncut_at_db = -18") + "[[spots]]\nfiles = [\"x.adi\"]\nformat = \"adif\"\nseen_from = \"me\"\n",
			[]string{"MINE", `format = "table"`}},
		{"no seconds", base + aTable + "time_layout = \"YYYY-MM-DD hh:mm\"\n", []string{"no seconds", "ss"}},
		{"two columns, no blank", base + strings.Replace(aTable, `time = "when"`, `time = ["a", "b"]`, 1) + "time_layout = \"YYYY-MM-DDThh:mm:ss\"\n",
			[]string{"no blank", "YYYY-MM-DD hh:mm:ss"}},
		{"one time for all", base + strings.Replace(aTable, `time = "when"`, `time = { value = "2026-09-12T04:00:00Z" }`, 1), []string{"one time", "name the column"}},
		{"one pattern for two tables", base + aTable + "[[spots]]\nfiles = [\"spots/*\"]\nformat = \"adif\"\nseen_from = \"me\"\n", []string{"another table", "narrow the pattern"}},
		{"a pattern that names nothing", base + strings.Replace(aTable, "spots/*.csv", "[", 1), []string{"no file name", "spots/*.csv"}},
		{"a band beyond the world", replaced(t, base, `["20m"]`, `["2m"]`) + aTable, []string{"2m", "160m to 6m"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			exp, planned := load(t, c.text)
			truth, err := rehearsal.ParseTruth(exp, bandsOf(planned), nil)
			require.NoError(t, err)
			_, err = rehearsal.Invent(exp, planned, rehearsal.Options{Truth: truth})
			var findings diag.List
			require.True(t, errors.As(err, &findings), "%v", err)
			require.Positive(t, findings[0].Pos.Line)
			for _, part := range c.wants {
				require.Contains(t, err.Error(), part)
			}
		})
	}
}

// The table that is proposed can be pasted as it stands.
func TestProposedTableWorks(t *testing.T) {
	r := rehearse(t, base+rehearsal.SpotsTable, false, "none")
	rows, refused, _ := r.read(t)
	require.Empty(t, refused)
	require.NotEmpty(t, rows)
}
