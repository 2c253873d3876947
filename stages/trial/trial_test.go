package trial

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/dwells"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/schedule"
)

var start = time.Date(2026, 9, 12, 4, 0, 0, 0, time.UTC)

// small is a trial of two arms on two bands: two sessions of two blocks each.
func small() schedule.Plan {
	return schedule.Plan{
		Seed: 7, Arms: []string{"low", "high"}, Bands: []string{"20m", "10m"}, DwellMs: 360_000, SettleMs: 30_000, ArmChangeMs: 180_000,
		BandChangeMs: 60_000, SlotMs: 15_000, Pattern: schedule.Pairs, Rotate: schedule.BandsWithinArm,
		Sessions: []schedule.Session{{StartMs: start.UnixMilli(), Blocks: 2}, {StartMs: start.Add(24 * time.Hour).UnixMilli(), Blocks: 2}},
	}
}

func carried() Carried {
	return Carried{SlotMs: 15_000, SettleMs: 30_000, Sends: schedule.EvenSlots, Erections: []Erection{{1, "low", 1}, {1, "high", 1}, {2, "low", 2}, {2, "high", 2}}}
}

// logged writes a switch log: every arm connected as many seconds after its dwell began as late says, and more lines
// behind them; lines are sorted by time.
func logged(planned []schedule.Dwell, late func(schedule.Dwell) float64, more ...string) string {
	lines := slices.Clone(more)
	for _, d := range planned {
		t := d.Start.Add(time.Duration(late(d) * float64(time.Second)))
		lines = append(lines, fmt.Sprintf("%s,,connected,%d,%s,%d,%s,,", t.Format(time.RFC3339), d.Session, d.Band, d.Block, d.Arm))
	}
	slices.Sort(lines)
	return "time,entered,event,session,band,block,arm,value,note\n" + strings.Join(lines, "\n") + "\n"
}

func inTime(schedule.Dwell) float64 { return -20 }

// draw runs the schedule stage.
func draw(t *testing.T) ([]byte, []schedule.Dwell) {
	t.Helper()
	stage := Draw(small())
	res, err := stage.Run(context.Background(), pipeline.NewInput(context.Background(), memory.DefaultAllocator, nil, nil))
	require.NoError(t, err)
	text := res.Files[FileSchedule]
	planned, list := schedule.ReadCSV(bytes.NewReader(text), FileSchedule, 30_000)
	require.NoError(t, list.Err())
	drawn, err := schedule.Draw(small())
	require.NoError(t, err)
	require.Len(t, planned, len(drawn))
	return text, planned
}

// carry runs the stage of the dwells; log "" stands for none.
func carry(t testing.TB, p Carried, text []byte, log string) (*pipeline.Result, account.Trial, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "switches.csv")
	if log != "" {
		p.Log = "log/switches.csv"
		require.NoError(t, os.WriteFile(path, []byte(log), 0o600))
	}
	stage := Dwells(p, path)
	in := pipeline.NewInput(context.Background(), memory.DefaultAllocator, nil, map[string][]byte{FileSchedule: text}, stage.Sources...)
	res, err := stage.Run(context.Background(), in)
	if err != nil {
		return nil, account.Trial{}, err
	}
	require.NoError(t, table.Validate(res.Tables[TableDwells], stage.Makes[0].Schema))
	require.NoError(t, table.CheckSorted(res.Tables[TableDwells], table.SortKeys(stage.Makes[0].Schema)))
	var facts account.Trial
	require.NoError(t, json.Unmarshal(res.Files[FileTrial], &facts))
	return res, facts, nil
}

func TestWithoutALogThePlannedTimesCount(t *testing.T) {
	text, planned := draw(t)
	res, facts, err := carry(t, carried(), text, "")
	require.NoError(t, err)
	r := table.NewReader(res.Tables[TableDwells])
	for i := 0; r.Next(); i++ {
		d := planned[i]
		require.Equal(t, []any{int64(d.Session), d.Band, int64(d.Block), int64(d.Position), d.Arm, int64(d.Session), d.Start, d.SettleEnd, d.End, int64(11), true, 0.0, false},
			[]any{r.Int("session"), r.Str("band"), r.Int("block"), r.Int("position"), r.Str("arm"), r.Int("erection"), r.Time("start"), r.Time("settle_end"), r.Time("end"), r.Int("slots"), r.Bool("kept"), r.Float("late_s"), r.Bool("confirmed")},
			"5.5 minutes after settling hold 11 even slots")
		require.True(t, r.Null("reason"))
	}
	require.Equal(t, 16, r.Len())
	require.False(t, facts.Ended || facts.EndedEarly || facts.OneErection)
	require.Len(t, facts.Warnings, 1)
	require.Equal(t, "no_log", facts.Warnings[0].Code)
}

func TestFacts(t *testing.T) {
	text, planned := draw(t)
	first := planned[0]
	lateOn := func(band string, seconds float64, blocks ...int) func(schedule.Dwell) float64 {
		return func(d schedule.Dwell) float64 {
			if d.Session == 1 && d.Band == band && d.Position == 1 && slices.Contains(blocks, d.Block) {
				return seconds
			}
			return -20
		}
	}
	for _, c := range []struct {
		rule     string
		log      string
		change   func(*Carried)
		warnings []account.Warning
		ended    bool
		early    bool
		oneUp    bool
		kept     int
	}{
		{rule: "all in time", log: logged(planned, inTime), warnings: []account.Warning{}, kept: 16},
		{rule: "late, but settled before the first slot", log: logged(planned, lateOn("20m", 30, 1)), warnings: []account.Warning{}, kept: 16},
		{rule: "one late change speaks of its band alone", log: logged(planned, lateOn("20m", 65, 1)), kept: 16,
			warnings: []account.Warning{{Code: "late_switch", Band: "20m", Text: "1 late change shortened all dwells of its block alike"}}},
		{rule: "two late changes", log: logged(planned, lateOn("10m", 65, 1, 2)), kept: 16,
			warnings: []account.Warning{{Code: "late_switch", Band: "10m", Text: "2 late changes shortened their blocks alike"}}},
		{rule: "one so late that the block is dropped", log: logged(planned, lateOn("20m", 300, 1)), kept: 14,
			warnings: []account.Warning{{Code: "late_switch", Band: "20m", Text: "1 late change left too little of a dwell, and its block does not count"}}},
		{rule: "other doubts speak of all bands, and are gathered", kept: 8,
			log: logged(planned, lateOn("20m", 65, 2), start.Add(time.Hour).Format(time.RFC3339)+",,drop,1,,1,,,weak signals", start.Add(61*time.Minute).Format(time.RFC3339)+",,drop,2,,1,,,no reports"),
			warnings: []account.Warning{
				{Code: "drop_reason", Text: "block 1 of session 1 is dropped for a reason that seems to look at signals (and 1 more like it)"},
				{Code: "late_switch", Band: "20m", Text: "1 late change shortened all dwells of its block alike"}}},
		{rule: "a logged end", log: logged(planned, inTime, planned[15].End.Format(time.RFC3339)+",,end,,,,,,"), ended: true, warnings: []account.Warning{}, kept: 16},
		{rule: "an end that cuts blocks off", log: logged(planned[:8], inTime, planned[7].End.Add(time.Second).Format(time.RFC3339)+",,end,,,,,,"), ended: true, early: true, warnings: []account.Warning{}, kept: 8},
		{rule: "one putting-up of an arm", log: logged(planned, inTime), oneUp: true, warnings: []account.Warning{}, kept: 16,
			change: func(p *Carried) { p.Erections[2].Number = 1 }},
		{rule: "an arm whose putting-up nobody declared for one session", log: logged(planned, inTime), oneUp: true, warnings: []account.Warning{}, kept: 16,
			change: func(p *Carried) { p.Erections = p.Erections[:3] }},
		{rule: "no putting-up is declared at all", log: logged(planned, inTime), oneUp: true, warnings: []account.Warning{}, kept: 16,
			change: func(p *Carried) { p.Erections = nil }},
	} {
		t.Run(c.rule, func(t *testing.T) {
			p := carried()
			if c.change != nil {
				c.change(&p)
			}
			res, facts, err := carry(t, p, text, c.log)
			require.NoError(t, err)
			require.Equal(t, c.warnings, facts.Warnings)
			require.Equal(t, []bool{c.ended, c.early, c.oneUp}, []bool{facts.Ended, facts.EndedEarly, facts.OneErection})
			kept := 0
			for r := table.NewReader(res.Tables[TableDwells]); r.Next(); {
				if r.Bool("kept") {
					kept++
					require.True(t, r.Null("reason"))
				} else {
					require.Zero(t, r.Int("slots"), "a dwell that does not count has no slots that do")
				}
			}
			require.Equal(t, c.kept, kept)
			require.Len(t, facts.Losses, 2)
		})
	}

	res, _, err := carry(t, carried(), text, logged(planned, lateOn("20m", 65, 1)))
	require.NoError(t, err)
	require.Contains(t, res.Notes.Error(), "leave more time between dwells", "the plan of the next trial is a note")
	r := table.NewReader(res.Tables[TableDwells])
	require.True(t, r.Next())
	require.Equal(t, first.Arm, r.Str("arm"), "the log never changes which arm a dwell counts for")
	require.Equal(t, 65.0, r.Float("late_s"))
	require.EqualValues(t, 9, r.Int("slots"), "the slots at 30 s and 60 s are gone")
}

func TestNotesOfTheLogArePassedOn(t *testing.T) {
	text, planned := draw(t)
	when := planned[0].Start.Add(time.Minute)
	stamp := when.Format(time.RFC3339)
	_, facts, err := carry(t, carried(), text, logged(planned, inTime, stamp+",,power,1,,,,3.9,", stamp+",,deviation,1,20m,1,high,,guy rope slack"))
	require.NoError(t, err)
	watts := 3.9
	require.Equal(t, []account.LogEvent{
		{Kind: "deviation", Time: when, Session: 1, Band: "20m", Block: 1, Arm: "high", Note: "guy rope slack"},
		{Kind: "power", Time: when, Session: 1, Arm: planned[0].Arm, Value: &watts},
	}, facts.Events)
	require.Equal(t, []string{dwells.Power, dwells.Deviation, dwells.Remark}, []string{account.Power, account.Deviation, account.Remark})
}

// Two late changes in one block, one of them within the settling time: only the other took slots.
func TestOnlyChangesThatCostSlotsAreCounted(t *testing.T) {
	text, planned := draw(t)
	_, facts, err := carry(t, carried(), text, logged(planned, func(d schedule.Dwell) float64 {
		if d.Session == 1 && d.Band == "20m" && d.Block == 1 {
			return map[int]float64{1: 20, 2: 45}[d.Position]
		}
		return -20
	}))
	require.NoError(t, err)
	require.Equal(t, []account.Warning{{Code: "late_switch", Band: "20m", Text: "1 late change shortened all dwells of its block alike"}}, facts.Warnings)
}

func TestScheduleFromAFile(t *testing.T) {
	text, _ := draw(t)
	path := filepath.Join(t.TempDir(), "schedule.csv")
	require.NoError(t, os.WriteFile(path, text, 0o600))
	stage := Take(Given{File: "mine.csv", SettleMs: 30_000}, path)
	in := func() *pipeline.Input {
		return pipeline.NewInput(context.Background(), memory.DefaultAllocator, nil, nil, stage.Sources...)
	}
	res, err := stage.Run(context.Background(), in())
	require.NoError(t, err)
	require.Equal(t, text, res.Files[FileSchedule], "read and written again it is the same")

	long := small()
	long.Sessions[0].Blocks, long.Sessions[1].Blocks = 3, 3
	regular, err := schedule.Draw(long)
	require.NoError(t, err)
	for i := range regular { // all AB
		regular[i].Arm = []string{"low", "high"}[regular[i].Position-1]
	}
	var alike bytes.Buffer
	require.NoError(t, schedule.WriteCSV(&alike, regular))
	p := carried()
	p.CheckOrder = true
	_, facts, err := carry(t, p, alike.Bytes(), "")
	require.NoError(t, err)
	require.NotEmpty(t, facts.PlainlyRegular)
	_, facts, err = carry(t, carried(), alike.Bytes(), "")
	require.NoError(t, err)
	require.Empty(t, facts.PlainlyRegular, "nobody said that the order is random")

	require.NoError(t, os.WriteFile(path, []byte("session,band\n"), 0o600))
	_, err = stage.Run(context.Background(), in())
	require.ErrorContains(t, err, "mine.csv")
}

func TestFaultsStopTheStage(t *testing.T) {
	text, planned := draw(t)
	_, _, err := carry(t, carried(), text, logged(planned, inTime, "2026-09-12T05:00:00Z,,drop,1,,9,,,rain"))
	require.ErrorContains(t, err, "log/switches.csv:")
	_, _, err = carry(t, carried(), text, "nonsense\n")
	require.ErrorContains(t, err, "log/switches.csv")
	p := carried()
	p.SlotMs = 120_000
	_, _, err = carry(t, p, text, "")
	require.ErrorContains(t, err, "too few slots")
	_, _, err = carry(t, carried(), []byte("x\n"), "")
	require.ErrorContains(t, err, FileSchedule)
}

// Whatever stands in a log, each planned dwell stays in the table with its arm.
func FuzzLog(f *testing.F) {
	drawn, err := schedule.Draw(small())
	require.NoError(f, err)
	var text bytes.Buffer
	require.NoError(f, schedule.WriteCSV(&text, drawn))
	f.Add(logged(drawn, inTime))
	f.Add(logged(drawn, func(d schedule.Dwell) float64 { return float64(d.Block * 40) }, "2026-09-12T04:20:00Z,,pause,1,,,,,", "2026-09-12T04:29:00Z,,resume,1,,,,,"))
	f.Fuzz(func(t *testing.T, log string) {
		res, _, err := carry(t, carried(), text.Bytes(), log)
		if err != nil {
			return
		}
		arms := map[string]int{}
		for r := table.NewReader(res.Tables[TableDwells]); r.Next(); {
			arms[fmt.Sprint(r.Int("session"), r.Str("band"), r.Int("block"), r.Int("position"), r.Str("arm"))]++
		}
		require.Len(t, arms, len(drawn))
	})
}
