package dwells

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/stages/schedule"
)

func TestLosses(t *testing.T) {
	band := []string{"20m"}
	planned := plan(1, "04:00:00", band, strings.TrimSuffix(strings.Repeat("low high | ", 8), " | "))
	log := ""
	for block := 1; block <= 6; block++ { // each while low, the first dwell of the block, is on the air
		clock := at("04:01:00").Add(time.Duration(block-1) * 18 * time.Minute)
		log += ev(stamp(clock), fmt.Sprintf("drop,1,,%d,,,rain", block))
	}
	o, _ := apply(t, planned, log)
	assert.Equal(t, []ArmLoss{{"high", 0}, {"low", 6}}, o.Losses[0].ByArm)
	assert.InDelta(t, 6/8., o.Losses[0].LostShare, 1e-15)
	const tolerance = 1e-12 // the incomplete beta function against whole numbers
	assert.InDelta(t, 2/64., o.Losses[0].LossP, tolerance, "two sides of 1/2^6")

	o, _ = apply(t, planned, log+ev("06:10:00", "drop,1,,7,high,,rain"))
	assert.InDelta(t, 2*8/128., o.Losses[0].LossP, tolerance, "two sides of (1 + 7)/2^7; the drop names its arm")

	o, _ = apply(t, planned, ev("09:00:00", "drop,1,,7,,,rain"))
	assert.Equal(t, 1, o.Losses[0].Lost)
	assert.Equal(t, []ArmLoss{{"high", 0}, {"low", 0}}, o.Losses[0].ByArm, "written long after: the arm is not known")
	assert.Equal(t, 1.0, o.Losses[0].LossP)
}

func TestLossPOfThreeArms(t *testing.T) {
	got := lossP([]ArmLoss{{"a", 5}, {"b", 0}, {"c", 0}})
	assert.InDelta(t, 3*2./243, got, 1e-12, "three arms, two sides of 1/3^5")
	assert.Equal(t, 1.0, lossP([]ArmLoss{{"a", 2}, {"b", 2}, {"c", 2}}))
	assert.Equal(t, 1.0, lossP([]ArmLoss{{"a", 9}}), "one arm: nothing to compare")
}

func TestNotesAreKept(t *testing.T) {
	o, _ := apply(t, smallPlan(), ev("04:01:00", "power,,,,,3.9")+ev("04:10:00", "battery,1,,,low,12.4")+
		ev("04:11:00", "deviation,1,,,,,guy rope slack")+ev("04:50:00", "remark,,,,,,packing up"))
	var got []string
	for _, e := range o.Notes {
		got = append(got, fmt.Sprint(e.Kind, " ", e.Session, " ", e.Arm, " ", e.Value, " ", e.Note))
	}
	assert.Equal(t, []string{"power 1 low 3.9 ", "battery 1 low 12.4 ", "deviation 1 high 0 guy rope slack", "remark 1  0 packing up"}, got)
}

func TestGoldenOutcome(t *testing.T) {
	text, err := os.ReadFile("testdata/switches.csv")
	require.NoError(t, err)
	events, list := ReadLog(bytes.NewReader(text), "switches.csv")
	require.Empty(t, list)
	o, list := Apply(smallPlan(), events, params())
	got, err := json.MarshalIndent(map[string]any{"outcome": o, "findings": strings.Split(list.Error(), "\n")}, "", "  ")
	require.NoError(t, err)
	want, err := os.ReadFile("testdata/outcome.json")
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got)+"\n")
}

// checkOutcome holds for every log: arms and order as planned, blocks whole, dwells as long as planned.
func checkOutcome(t require.TestingT, planned []schedule.Dwell, events []Event, p Params) {
	o, list := Apply(planned, events, p)
	if list.Err() != nil {
		return
	}
	require.Len(t, o.Dwells, len(planned))
	for i, was := range planned {
		now := o.Dwells[i]
		require.Equal(t, [4]any{was.Session, was.Band, was.Block, was.Arm}, [4]any{now.Session, now.Band, now.Block, now.Arm})
		require.Equal(t, was.End.Sub(was.Start), now.End.Sub(now.Start))
		require.Equal(t, now.Kept, now.Reason == "")
		if now.Kept {
			gone := schedule.CountOwn(schedule.Dwell{SettleEnd: now.Start.Add(was.SettleEnd.Sub(was.Start)), End: now.End}, p.SlotMs, p.Sends) -
				schedule.CountOwn(now.Dwell, p.SlotMs, p.Sends)
			require.Equal(t, now.LeadingSlotsRemoved, gone)
		}
	}
	for _, group := range schedule.Blocks(planned) {
		for _, i := range group {
			require.Equal(t, o.Dwells[group[0]].Reason, o.Dwells[i].Reason)
			require.Equal(t, o.Dwells[group[0]].LeadingSlotsRemoved, o.Dwells[i].LeadingSlotsRemoved)
		}
	}
	for _, l := range o.Losses {
		require.True(t, l.LossP >= 0 && l.LossP <= 1 && l.Lost <= l.Scheduled)
	}
}

func anyEvent(t *rapid.T) Event {
	e := Event{
		Kind:    rapid.SampledFrom(Kinds()).Draw(t, "kind"),
		Time:    at("03:50:00").Add(time.Duration(rapid.IntRange(0, 4000).Draw(t, "s")) * time.Second),
		Session: rapid.IntRange(0, 2).Draw(t, "session"),
		Band:    rapid.SampledFrom([]string{"", "20m", "10m"}).Draw(t, "band"),
		Block:   rapid.IntRange(0, 2).Draw(t, "block"),
		Arm:     rapid.SampledFrom([]string{"low", "high"}).Draw(t, "arm"),
		Value:   rapid.Float64Range(-14, 14).Draw(t, "value"), HasValue: true,
		Note: rapid.SampledFrom([]string{"rain", "rig off"}).Draw(t, "note"),
	}
	if e.Session == 2 {
		e.Time = e.Time.Add(24 * time.Hour)
	}
	e.Entered = e.Time
	return e
}

func TestAnyLogKeepsArmsAndWholeBlocks(t *testing.T) {
	bands := []string{"20m", "10m"}
	planned := append(plan(1, "04:00:00", bands, "low high | high low"), plan(2, "2026-09-13T04:00:00Z", bands, "high low | low high")...)
	rapid.Check(t, func(t *rapid.T) {
		events := rapid.SliceOfN(rapid.Custom(anyEvent), 0, 12).Draw(t, "events")
		p := params()
		p.Sends = rapid.SampledFrom([]string{schedule.EverySlot, schedule.EvenSlots, schedule.OddSlots, schedule.AsLogged}).Draw(t, "sends")
		checkOutcome(t, planned, events, p)
	})
}

func TestPausesKeepParity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := at("04:16:00")
		to := from.Add(time.Duration(rapid.IntRange(0, 7200).Draw(t, "s")) * time.Second)
		p := params()
		p.Sends = rapid.SampledFrom([]string{schedule.EvenSlots, schedule.OddSlots}).Draw(t, "sends")
		o, _ := Apply(smallPlan(), []Event{
			{Kind: Pause, Time: from, Entered: from, Session: 1},
			{Kind: Resume, Time: to, Entered: to, Session: 1},
		}, p)
		for i, was := range smallPlan() {
			now := o.Dwells[i]
			assert.Equal(t, schedule.CountOwn(was, p.SlotMs, p.Sends), schedule.CountOwn(now.Dwell, p.SlotMs, p.Sends))
			assert.Zero(t, now.Start.Sub(was.Start)%(30*time.Second))
			if was.Session == 1 && was.Block == 2 {
				assert.False(t, now.Start.Before(to), "nothing begins before the pause is over")
				assert.Less(t, now.Start.Sub(was.Start)-to.Sub(from), 30*time.Second)
			}
		}
	})
}

func BenchmarkApply(b *testing.B) {
	planned := plan(1, "04:00:00", []string{"20m", "10m"}, strings.TrimSuffix(strings.Repeat("low high | ", 64), " | "))
	var events []Event
	for _, d := range planned {
		events = append(events, Event{Kind: Connected, Time: d.Start, Entered: d.Start, Session: 1, Band: d.Band, Block: d.Block, Arm: d.Arm})
	}
	b.ReportAllocs()
	for b.Loop() {
		Apply(planned, events, params())
	}
}
