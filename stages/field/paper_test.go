package field

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/dwells"
	"fairlobe/stages/schedule"
)

// answer is what is asked and what is answered.
type answer struct{ asked, text, says string }

func write(t *testing.T, p *Paper, now string, answers []answer) {
	t.Helper()
	for _, a := range answers {
		require.False(t, p.Left(), "%q", a.text)
		require.Contains(t, p.Prompt(), a.asked, "%q", a.text)
		said := strings.Join(p.Enter(moment(now), a.text), "\n")
		require.Contains(t, said, a.says, "%s %q", a.asked, a.text)
	}
}

func paper(t *testing.T, trial Trial, log Recorder) *Paper {
	t.Helper()
	p, err := NewPaper(trial, log, 1)
	require.NoError(t, err)
	p.Begin(moment("20:00:00"))
	return p
}

// A session of three blocks on paper, with slips that are found, a slip that is put right, and two breaks. The order of
// the arms is that of the plan's seed.
func TestPaper(t *testing.T) {
	trial := plan(t, "20m")
	dir := t.TempDir()
	log := logIn(t, dir)
	arms := map[int][2]string{}
	for _, d := range trial.Planned {
		if d.Session == 1 {
			pair := arms[d.Block]
			pair[d.Position-1] = d.Arm
			arms[d.Block] = pair
		}
	}
	p := paper(t, trial, log)
	write(t, p, "20:00:00", []answer{
		{"First slot", "04:03:10", ""},
		{"Clock at the beginning", "90", "The log's clock was 90 s ahead of UTC, more than half the settling time. Take the error off"},
		{"Clock at the beginning", "<", ""},
		{"First slot", "4.03", ""},
		{"Clock", "0,2", "1  first slot: 2026-09-12 04:03:00Z"},
		{"Right?", "y", "Written: 2 lines."},
	})
	require.Equal(t, []string{"2026-09-12T04:03:00Z,2026-09-12T20:00:00Z,start,1,,,,,", "2026-09-12T04:03:00Z,2026-09-12T20:00:00Z,clock,1,,,,0.2,"}, lines(t, log))
	write(t, p, "20:01:00", []answer{
		{"Pauses before or in block 1", "", ""},
		{arms[1][0] + " on 20m connected at? Dwell from 04:03:00Z to 04:09:00Z", "0407x", `"0407x" is no time`},
		{arms[1][0], "07:07", "can't belong to this dwell"},
		{arms[1][0], "04:02:50", ""},
		{arms[1][1] + " on 20m connected at? Dwell from 04:12:00Z", "04:13:35", ""},
		{"dropped", "", ""}, {"Power", "4", ""}, {"Battery", "-1", "can't be"}, {"Battery", "13.1", ""}, {"other than planned", "", ""},
		{"Note", `halyard jammed, "again"`, "3  " + arms[1][1] + " on 20m connected: 2026-09-12 04:13:35Z"},
		{"Right?", "3", ""},
		{arms[1][1], "04:13:05", "3  " + arms[1][1] + " on 20m connected: 2026-09-12 04:13:05Z"},
		{"Right?", "maybe", "a number from the list"},
		{"Right?", "y", "Left out of every dwell of block 1 on 20m alike: the first 2 slots.\nWritten: 5 lines."},
		// The pause of 12 min moves the block, while it is still being asked for.
		{"Pauses before or in block 2", "04:20", "is no pause"},
		{"Pauses", "04:30-04:25", "before it begins"},
	})
	require.NoError(t, log.Close())

	// Left without a y: block 2 is asked again, and nothing before it.
	log = logIn(t, dir)
	p = paper(t, trial, log)
	write(t, p, "20:05:00", []answer{
		{"Pauses before or in block 2", "04:18:30-04:30:10", ""},
		{arms[2][0] + " on 20m connected at? Dwell from 04:33:00Z", "", ""},
		{arms[2][1] + " on 20m connected at? Dwell from 04:42:00Z", "04:41", ""},
		{"dropped", "reports were weak", "seems to look at signals"}, {"dropped", "20m: rain", ""},
		{"Power", "", ""}, {"Battery", "", ""}, {"other than planned", "", ""}, {"Note", "", "1  pauses: 2026-09-12 04:18:30Z to 2026-09-12 04:30:10Z"},
		{"Right?", "y", "What follows moves by 12:00."},
		{"Pauses before or in block 3", "q", "Left."},
	})
	require.True(t, p.Left())
	require.NoError(t, log.Close())

	log = logIn(t, dir)
	p = paper(t, trial, log)
	write(t, p, "20:10:00", []answer{
		{"Pauses before or in block 3", "", ""},
		{arms[3][0], "04:50", ""}, {arms[3][1], "04:59:30", ""},
		{"dropped", "", ""}, {"Power", "", ""}, {"Battery", "", ""}, {"other than planned", "", ""}, {"Note", "", ""},
		{"Right?", "y", "Written: 2 lines."},
		{"Pauses before or in block 4", "", ""},
		{arms[4][0], "end", "ended before that dwell"},
		{"dropped", "", ""}, {"Power", "", ""}, {"Battery", "", ""}, {"other than planned", "", ""}, {"Note", "", ""},
		{"Right?", "y", "Written: 0 lines."},
		{"Session ended at?", "05:08", ""}, {"Clock at the end", "-0.3", "1  end: 2026-09-12 05:08:00Z"},
		{"Right?", "y", "That was all."},
	})
	require.True(t, p.Left())
	require.Equal(t, []string{
		"2026-09-12T04:03:00Z,2026-09-12T20:01:00Z,power,1,,1,,4,",
		"2026-09-12T04:03:00Z,2026-09-12T20:01:00Z,battery,1,,1,,13.1,",
		`2026-09-12T04:03:00Z,2026-09-12T20:01:00Z,remark,1,,1,,,"halyard jammed, ""again"""`,
		"2026-09-12T04:02:50Z,2026-09-12T20:01:00Z,connected,1,20m,1," + arms[1][0] + ",,",
		"2026-09-12T04:13:05Z,2026-09-12T20:01:00Z,connected,1,20m,1," + arms[1][1] + ",,",
		"2026-09-12T04:33:00Z,2026-09-12T20:05:00Z,drop,1,20m,2,,,rain",
		"2026-09-12T04:18:30Z,2026-09-12T20:05:00Z,pause,1,,,,,",
		"2026-09-12T04:30:10Z,2026-09-12T20:05:00Z,resume,1,,,,,",
		"2026-09-12T04:41:00Z,2026-09-12T20:05:00Z,connected,1,20m,2," + arms[2][1] + ",,",
		"2026-09-12T04:33:00Z,2026-09-12T20:05:00Z,remark,1,,2,,,not on paper: when one arm was connected",
		"2026-09-12T04:50:00Z,2026-09-12T20:10:00Z,connected,1,20m,3," + arms[3][0] + ",,",
		"2026-09-12T04:59:30Z,2026-09-12T20:10:00Z,connected,1,20m,3," + arms[3][1] + ",,",
		"2026-09-12T05:08:00Z,2026-09-12T20:10:00Z,end,1,,,,,",
		"2026-09-12T05:08:00Z,2026-09-12T20:10:00Z,clock,1,,,,-0.3,",
	}, lines(t, log)[2:])

	out, list := trial.apply(log.Events(), log.Path())
	require.Empty(t, list.Faults())
	kept := map[int]bool{}
	for _, group := range schedule.Blocks(trial.Planned) {
		if d := out.Dwells[group[0]]; d.Session == 1 {
			kept[d.Block] = d.Kept
		}
	}
	require.Equal(t, map[int]bool{1: true, 2: false, 3: true, 4: false, 5: false, 6: false}, kept)
	require.True(t, out.EndedEarly)

	p = paper(t, trial, log)
	require.True(t, p.Left(), "there is nothing left to ask")
}

// Past midnight the time is on the next day.
func TestReadTime(t *testing.T) {
	near := moment("23:50:00")
	for _, one := range []struct{ text, want, problem string }{
		{text: "23:59:10", want: "2026-09-12T23:59:10Z"}, {text: "00:10", want: "2026-09-13T00:10:00Z"}, {text: " 0.10 ", want: "2026-09-13T00:10:00Z"},
		{text: "23:10z", want: "2026-09-12T23:10:00Z"}, {text: "24:00", problem: "no time"}, {text: "1", problem: "no time"}, {text: "", problem: "no time"}, {text: "12:00 pm", problem: "no time"},
	} {
		got, problem := readTime(one.text, near)
		require.Contains(t, problem, one.problem, one.text)
		if one.problem == "" {
			require.Empty(t, problem)
			require.Equal(t, one.want, stamp(got), one.text)
		}
	}
}

// What is still to come stands on no paper.
func TestPaperOfTheFuture(t *testing.T) {
	log := logIn(t, t.TempDir())
	p := paper(t, plan(t, "20m"), log)
	write(t, p, "03:00:00", []answer{{"First slot", "03:30", ""}, {"Clock", "", ""}, {"Right?", "y", "2026-09-12 03:30:00Z is still to come"}, {"Right?", "1", ""}, {"First slot", "02:30", ""}, {"Right?", "y", "Written: 1 line."}})
}

// A crash inside a page: what was written is not asked again, and an open pause is asked for its end.
func TestPaperAfterACrash(t *testing.T) {
	trial := plan(t, "20m")
	log := logIn(t, t.TempDir())
	for _, e := range []dwells.Event{
		{Kind: dwells.Clock, HasValue: true, Time: moment("04:00:00")},
		{Kind: dwells.Battery, Block: 1, Value: 13, HasValue: true, Time: moment("04:00:00")},
		{Kind: dwells.Pause, Time: moment("03:50:00")},
	} {
		e.Session, e.Entered = 1, moment("20:00:00")
		require.NoError(t, log.Append(e))
	}
	p := paper(t, trial, log)
	write(t, p, "20:01:00", []answer{
		{"First slot", "", "1  first slot: not on paper"}, {"Right?", "y", "Written: 0 lines."},
		{"(the log has 03:50:00Z). That of 03:50:00Z has no end yet", "04:05", ""},
		{"Dwell from 04:15:00Z", "04:14", ""}, {"Dwell from 04:24:00Z", "04:24:10", ""}, {"dropped", "", ""}, {"Power", "", ""},
		{"other than planned", "", ""}, {"Note", "", "1  pauses"}, {"Right?", "y", "What follows moves by 15:00"},
	})
}
