package spots

import (
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/table"
)

// The control station's reports count in the own slots of dwells that count, from files of either role.
func TestReportsOfTheControlStation(t *testing.T) {
	heard := func(line int, clock, rx string, snr float64) row {
		return with(one(line, clock), func(r *row) { r.tx, r.rx, r.snrDB = "Q5CT", rx, snr })
	}
	p := params()
	p.Control = "Q5CT"
	better := with(heard(3, "04:01:00", "Q2AB", -4), func(r *row) { r.rxAt.locator = "NN34" })
	files := []file{
		{name: "a", rows: []row{one(1, "04:01:00"), heard(2, "04:01:00", "Q2AB", -9), better}},
		{name: "b", background: true, rows: []row{
			heard(1, "04:01:00", "Q2AB", -9),
			heard(2, "04:11:00", "Q3CD", -12),
			heard(3, "04:01:15", "Q3CD", -12), // not a slot in which the own station sends
			heard(4, "04:00:00", "Q3CD", -12), // settling
			heard(5, "04:41:00", "Q3CD", -12), // dropped
			heard(6, "04:01:00", "Q1RDG", -3), // the own station hears it
			with(heard(7, "04:01:00", "Q3CD", -1), func(r *row) { r.tx = "Q6XX" }),
		}},
	}
	lines := func(p Params) (out []string, intake any) {
		got, err := placeFiles(t, p, twoBlocks, files...)
		require.NoError(t, err)
		for r := table.NewReader(got.res.Tables[TableControl]); r.Next(); {
			require.EqualValues(t, 1, r.Int("block"))
			loc := "-"
			if !r.Null("locator") {
				loc = r.Str("locator")
			}
			out = append(out, r.Str("receiver")+" "+r.Time("slot").Format("15:04:05")+" "+r.Str("arm")+" "+loc)
			require.Equal(t, map[string]float64{"Q2AB": -4, "Q3CD": -12}[r.Str("receiver")], r.Float("snr_db"))
		}
		return out, got.intake
	}
	with, intake := lines(p)
	require.Equal(t, []string{"Q2AB 04:01:00 low NN34", "Q3CD 04:11:00 high -"}, with)
	p.Control = ""
	without, before := lines(p)
	require.Empty(t, without)
	require.Equal(t, before, intake, "the account of rows is the same")
}
