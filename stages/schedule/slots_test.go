package schedule

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/pipeline/diag"
)

func TestOwnSlots(t *testing.T) {
	for _, c := range []struct {
		reason             string
		start, settle, end string
		slotMs             int64
		sends              string
		want               []string // clock times
	}{
		{"a slot may begin at the end of settling and end with the dwell", "2026-09-12T04:00:00Z", "2026-09-12T04:00:30Z", "2026-09-12T04:01:00Z",
			15_000, EverySlot, []string{"04:00:30", "04:00:45"}},
		{"number 0 begins at 00:00", "2026-09-12T00:00:00Z", "2026-09-12T00:00:00Z", "2026-09-12T00:01:00Z", 15_000, EvenSlots, []string{"00:00:00", "00:00:30"}},
		{"odd ones", "2026-09-12T00:00:00Z", "2026-09-12T00:00:00Z", "2026-09-12T00:01:00Z", 15_000, OddSlots, []string{"00:00:15", "00:00:45"}},
		{"as logged: every slot is possible", "2026-09-12T00:00:00Z", "2026-09-12T00:00:00Z", "2026-09-12T00:00:30Z", 15_000, AsLogged, []string{"00:00:00", "00:00:15"}},
		{"settling may end within a slot", "2026-09-12T04:00:00Z", "2026-09-12T04:00:01Z", "2026-09-12T04:00:44Z", 15_000, EverySlot, []string{"04:00:15"}},
		{"7.5 s over midnight of a leap day", "2028-02-29T23:59:45Z", "2028-02-29T23:59:45Z", "2028-03-01T00:00:15Z", 7_500, EvenSlots, []string{"23:59:45", "00:00:00"}},
		{"7.5 s, odd, over midnight", "2028-02-29T23:59:45Z", "2028-02-29T23:59:45Z", "2028-03-01T00:00:15Z", 7_500, OddSlots, []string{"23:59:52.5", "00:00:07.5"}},
		{"120 s", "2026-09-12T04:00:00Z", "2026-09-12T04:02:00Z", "2026-09-12T04:10:00Z", 120_000, OddSlots, []string{"04:02:00", "04:06:00"}},
		{"nothing fits", "2026-09-12T04:00:00Z", "2026-09-12T04:00:01Z", "2026-09-12T04:00:29Z", 15_000, EverySlot, nil},
	} {
		t.Run(c.reason, func(t *testing.T) {
			d := Dwell{Start: at(c.start), SettleEnd: at(c.settle), End: at(c.end)}
			var got []string
			for slot := range OwnSlots(d, c.slotMs, c.sends) {
				got = append(got, slot.Format("15:04:05.999"))
			}
			assert.Equal(t, c.want, got)
			assert.Equal(t, len(c.want), CountOwn(d, c.slotMs, c.sends))
		})
	}
}

func TestOwnsAgreesWithOwnSlots(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slotMs := rapid.SampledFrom([]int64{7_500, 15_000, 120_000}).Draw(t, "slot")
		sends := rapid.SampledFrom([]string{EverySlot, EvenSlots, OddSlots, AsLogged}).Draw(t, "sends")
		start := upToEdge(rapid.Int64Range(-1e12, 4e12).Draw(t, "start"), slotMs)
		length := rapid.Int64Range(0, 40*slotMs).Draw(t, "length")
		d := Dwell{Start: utc(start), SettleEnd: utc(start + rapid.Int64Range(0, length).Draw(t, "settle")), End: utc(start + length)}
		own := slices.Collect(OwnSlots(d, slotMs, sends))
		for n := int64(-2); n < 44; n++ {
			slot := utc(start + n*slotMs)
			assert.Equal(t, slices.Contains(own, slot), Owns(d, slot, slotMs, sends), "%s", slot)
		}
	})
}

func TestOwnSlotsCanBeLeftEarly(t *testing.T) {
	d := Dwell{SettleEnd: at("2026-09-12T04:00:00Z"), End: at("2026-09-12T05:00:00Z")}
	for slot := range OwnSlots(d, 15_000, EverySlot) {
		assert.Equal(t, d.SettleEnd, slot)
		break
	}
}

func TestSlotOf(t *testing.T) {
	for _, c := range []struct {
		reason, stamp string
		slotMs        int64
		timeIs, want  string // "" = no slot
	}{
		{"on the edge", "2026-09-12T04:00:15Z", 15_000, SlotStart, "2026-09-12T04:00:15Z"},
		{"2.5 s late is within", "2026-09-12T04:00:17.5Z", 15_000, SlotStart, "2026-09-12T04:00:15Z"},
		{"2.501 s late is not", "2026-09-12T04:00:17.501Z", 15_000, SlotStart, ""},
		{"2.5 s early is within", "2026-09-12T04:00:12.5Z", 15_000, SlotStart, "2026-09-12T04:00:15Z"},
		{"2.6 s early is not", "2026-09-12T04:00:12.4Z", 15_000, SlotStart, ""},
		{"7.5 s: 1 s late is within", "2026-09-12T04:00:08.5Z", 7_500, SlotStart, "2026-09-12T04:00:07.5Z"},
		{"7.5 s: stamps cut to seconds", "2026-09-12T04:00:07Z", 7_500, SlotStart, "2026-09-12T04:00:07.5Z"},
		{"7.5 s: 1.1 s is not", "2026-09-12T04:00:08.6Z", 7_500, SlotStart, ""},
		{"120 s", "2026-09-12T04:02:01Z", 120_000, SlotStart, "2026-09-12T04:02:00Z"},
		{"early over midnight", "2026-09-11T23:59:58Z", 15_000, SlotStart, "2026-09-12T00:00:00Z"},
		{"the end marks the slot before", "2026-09-12T04:00:15Z", 15_000, SlotEnd, "2026-09-12T04:00:00Z"},
		{"the end over midnight", "2028-03-01T00:00:00.4Z", 7_500, SlotEnd, "2028-02-29T23:59:52.5Z"},
		{"the end a little early", "2026-09-12T04:00:14Z", 15_000, SlotEnd, "2026-09-12T04:00:00Z"},
		{"the end far from an edge", "2026-09-12T04:00:07Z", 15_000, SlotEnd, ""},
		{"within, at its start", "2026-09-12T04:00:15Z", 15_000, WithinSlot, "2026-09-12T04:00:15Z"},
		{"within, at its last moment", "2026-09-12T04:00:29.999999Z", 15_000, WithinSlot, "2026-09-12T04:00:15Z"},
		{"within, 7.5 s before midnight", "2028-02-29T23:59:59Z", 7_500, WithinSlot, "2028-02-29T23:59:52.5Z"},
		{"before 1970", "1969-12-31T23:59:59Z", 15_000, WithinSlot, "1969-12-31T23:59:45Z"},
		{"a stamp of another zone", "2026-09-12T06:00:15+02:00", 15_000, SlotStart, "2026-09-12T04:00:15Z"},
		{"slots that do not divide the day", "2026-09-12T04:00:00Z", 47_000, WithinSlot, ""},
		{"no such meaning", "2026-09-12T04:00:00Z", 15_000, "slot", ""},
	} {
		t.Run(c.reason, func(t *testing.T) {
			got, ok := SlotOf(at(c.stamp), c.slotMs, c.timeIs)
			require.Equal(t, c.want != "", ok)
			if ok {
				assert.Equal(t, c.want, stamp(got))
			}
		})
	}
}

func TestUpToEdge(t *testing.T) {
	for _, c := range []struct{ reason, t, want string }{
		{"an edge stays", "2026-09-12T04:00:15Z", "2026-09-12T04:00:15Z"},
		{"a nanosecond moves it", "2026-09-12T04:00:15.000000001Z", "2026-09-12T04:00:30Z"},
		{"over midnight", "2026-12-31T23:59:46Z", "2027-01-01T00:00:00Z"},
		{"before 1970", "1969-12-31T23:59:46Z", "1970-01-01T00:00:00Z"},
	} {
		assert.Equal(t, c.want, stamp(UpToEdge(at(c.t), 15_000)), c.reason)
	}
}

func TestCheckSlots(t *testing.T) {
	p := smallPlan()
	pos := diag.Pos{File: "ridge-wire.toml", Line: 40, Column: 1}
	assert.Empty(t, CheckSlots(draw(t, p), p.SlotMs, EvenSlots, pos))

	p.SlotMs = 120_000
	list := CheckSlots(draw(t, p), p.SlotMs, EvenSlots, pos)
	require.Len(t, list, 1)
	assert.Contains(t, list.Error(), "ridge-wire.toml:40:1: the dwell of")
	assert.Contains(t, list.Error(), "has too few slots to send in after settling: 1, at least 2 are needed")
	assert.Equal(t, "make each dwell at least 12.5 minutes long, or the settling time shorter", list[0].Mend)

	p.DwellMs = 125 * minute / 10
	assert.Empty(t, CheckSlots(draw(t, p), p.SlotMs, EvenSlots, pos), "the mend works")
}

func BenchmarkSlotOf(b *testing.B) {
	stamp := time.Date(2026, 9, 12, 4, 0, 14, 0, time.UTC)
	b.ReportAllocs()
	for b.Loop() {
		if _, ok := SlotOf(stamp, 15_000, SlotStart); !ok {
			b.Fatal("no slot")
		}
	}
}
