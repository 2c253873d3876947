package spots

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
)

// dwell is the part of the dwells table that this stage needs. Times are Unix µs.
type dwell struct {
	session, block, position int64
	band, arm                string
	start, settleEnd, end    int64
	kept                     bool
	late                     bool // only drops entered after the first look take it out
}

// nowhere stands for the number of a dwell where there is none.
const nowhere = -1

// calendar finds the dwell that holds a moment.
type calendar struct {
	dwells []dwell // by start
	// kept and rest are numbers of dwells, by start. Dwells that count never overlap. Those of blocks that were not run,
	// or were dropped, may lie under them: the next session may have begun while they were still planned.
	kept, rest []int
	longest    int64 // length of the longest dwell
}

func newCalendar(rec arrow.Record) *calendar {
	c := &calendar{}
	for r := table.NewReader(rec); r.Next(); {
		c.dwells = append(c.dwells, dwell{
			session: r.Int("session"), block: r.Int("block"), position: r.Int("position"),
			band: r.Str("band"), arm: r.Str("arm"), kept: r.Bool("kept"),
			start: r.Time("start").UnixMicro(), settleEnd: r.Time("settle_end").UnixMicro(), end: r.Time("end").UnixMicro(),
			late: !r.Null("reason") && strings.HasPrefix(r.Str("reason"), datasets.ReasonDroppedLate),
		})
	}
	slices.SortStableFunc(c.dwells, func(a, b dwell) int { return cmp.Compare(a.start, b.start) })
	for i, d := range c.dwells {
		c.longest = max(c.longest, d.end-d.start)
		if d.kept {
			c.kept = append(c.kept, i)
		} else {
			c.rest = append(c.rest, i)
		}
	}
	return c
}

// at gives the number of the dwell that holds the moment, its end left out; nowhere if none does. A dwell that counts
// comes before one that does not.
func (c *calendar) at(t int64) int {
	if i := c.among(c.kept, t); i != nowhere {
		return i
	}
	return c.among(c.rest, t)
}

func (c *calendar) among(some []int, t int64) int {
	after, _ := slices.BinarySearchFunc(some, t, func(i int, t int64) int {
		if c.dwells[i].start <= t {
			return -1
		}
		return 1
	})
	for n := after - 1; n >= 0 && t-c.dwells[some[n]].start < c.longest; n-- {
		if t < c.dwells[some[n]].end {
			return some[n]
		}
	}
	return nowhere
}

// span gives the first and the last moment of all dwells; there must be one.
func (c *calendar) span() (from, to time.Time) {
	end := c.dwells[0].end
	for _, d := range c.dwells {
		end = max(end, d.end)
	}
	return time.UnixMicro(c.dwells[0].start).UTC(), time.UnixMicro(end).UTC()
}
