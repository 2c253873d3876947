package schedule

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// inOrders gives one block for each of the orders, "ab" being arm a before arm b.
func inOrders(band string, orders ...string) []Dwell {
	var out []Dwell
	start := at("2026-09-12T04:00:00Z")
	for i, order := range orders {
		for n, arm := range strings.Split(order, "") {
			out = append(out, Dwell{
				Session: 1, Band: band, Block: i + 1, Position: n + 1, Arm: arm,
				Start: start, SettleEnd: start, End: start.Add(time.Minute),
			})
			start = start.Add(time.Minute)
		}
	}
	return out
}

func TestPlainlyRegular(t *testing.T) {
	for _, c := range []struct {
		reason string
		dwells []Dwell
		want   string // "" = not regular
	}{
		{"all alike", inOrders("20m", "ab", "ab", "ab", "ab", "ab", "ab"), "all 6 blocks on 20m have the order a b"},
		{"strict alternation", inOrders("20m", "ab", "ba", "ab", "ba", "ab", "ba"), "the 6 blocks on 20m take turns: a b, then b a, over and over"},
		{"strict alternation of seven", inOrders("20m", "ab", "ba", "ab", "ba", "ab", "ba", "ab"), "the 7 blocks on 20m take turns: a b, then b a, over and over"},
		{"five alike can be chance", inOrders("20m", "ab", "ab", "ab", "ab", "ab"), ""},
		{"one block breaks the rule", inOrders("20m", "ab", "ba", "ab", "ba", "ab", "ab"), ""},
		{"three arms in rotation", inOrders("20m", "abc", "bca", "cab", "abc", "bca", "cab"), "the 6 blocks on 20m take turns: a b c, then b c a, then c a b, over and over"},
		{"mirrored, all alike", inOrders("20m", "abba", "abba", "abba", "abba", "abba", "abba"), "all 6 blocks on 20m have the order a b b a"},
		{"one of two bands", append(inOrders("20m", "ab", "ba", "ba", "ab", "ba", "ba"), inOrders("10m", "ab", "ab", "ab", "ab", "ab", "ab")...),
			"all 6 blocks on 10m have the order a b"},
		{"one arm has no order", inOrders("20m", "a", "a", "a", "a", "a", "a", "a"), ""},
		{"nothing", nil, ""},
	} {
		t.Run(c.reason, func(t *testing.T) {
			regular, why := PlainlyRegular(c.dwells)
			assert.Equal(t, c.want != "", regular)
			assert.Equal(t, c.want, why)
		})
	}
}

func TestSummarise(t *testing.T) {
	p := smallPlan()
	s := Summarise(draw(t, p), p.SlotMs, EvenSlots)

	// Session 1: 3 blocks of 4 dwells; 6 min each; gaps 1+3+1 in each block, 3 between 1 and 2, 20 between 2 and 3.
	// Session 2: 2 blocks: gaps 1+3+1 twice, then the break after block 2 does not count, 3 between.
	const dwell, settle, change = 20 * 6, 20 * 0.5, 3*5 + 3 + 20 + 2*5 + 3
	assert.Equal(t, 20, s.Dwells)
	const exact = 1e-12 // hours; sums of whole milliseconds
	assert.InDelta(t, dwell/60., s.DwellHours, exact)
	assert.InDelta(t, settle/60, s.SettleHours, exact)
	assert.InDelta(t, change/60., s.ChangeHours, exact)
	assert.InDelta(t, (dwell+change)/60., s.TotalHours, exact)
	assert.InDelta(t, 20*11*0.25/60, s.TransmitHours, exact, "22 slots after settling, every other one")

	assert.Equal(t, []BandSummary{
		{Band: "20m", Blocks: 5, Dwells: 10, OwnSlots: 110, FewestOwnSlots: 11, OwnSlotsEachHour: 110},
		{Band: "10m", Blocks: 5, Dwells: 10, OwnSlots: 110, FewestOwnSlots: 11, OwnSlotsEachHour: 110},
	}, s.Bands)
	assert.Equal(t, "2026-09-12T04:00:00Z 2026-09-12T05:50:00Z", fmt.Sprint(stamp(s.Sessions[0].Start), " ", stamp(s.Sessions[0].End)))
	assert.InDelta(t, 110/60., s.Sessions[0].Hours, exact, "12*6 + 3*5 + 3 + 20")
	assert.Equal(t, []int{12, 8}, []int{s.Sessions[0].Dwells, s.Sessions[1].Dwells})
	assert.Equal(t, 11+7, s.BandChanges, "the band changes before every dwell but the first of a session")
	assert.Equal(t, s.ArmChanges, s.Sessions[0].ArmChanges+s.Sessions[1].ArmChanges)
}

func TestSummariseCountsRealArmChanges(t *testing.T) {
	s := Summarise(inOrders("20m", "ab", "ba", "ba"), 15_000, EverySlot)
	assert.Equal(t, 4, s.ArmChanges, "a b | b a | b a: from block 1 to 2 the arm stays")
	assert.Zero(t, s.BandChanges)
	assert.Equal(t, Summary{}, Summarise(nil, 15_000, EverySlot))
}
