package schedule

import (
	"fmt"
	"hash/fnv"
	"math/bits"
	"math/rand/v2"
	"slices"
	"time"
)

// Draw draws every order and gives the dwells sorted by start. The same plan gives the same dwells. An
// error names every reason why the plan can't be laid out, among them sessions that overlap.
func Draw(p Plan) ([]Dwell, error) {
	if err := p.check(); err != nil {
		return nil, fmt.Errorf("drawing the schedule: %w", err)
	}
	source := rand.NewPCG(p.Seed, stream())
	var out []Dwell
	for i := range p.Sessions {
		out = append(out, p.session(i, source)...)
	}
	slices.SortStableFunc(out, func(a, b Dwell) int { return a.Start.Compare(b.Start) })
	if err := overlap(out); err != nil {
		return nil, fmt.Errorf("drawing the schedule: %w", err)
	}
	return out, nil
}

// stream is the second seed: it keeps the schedule's random numbers apart from all others.
func stream() uint64 {
	h := fnv.New64a()
	h.Write([]byte("schedule"))
	return h.Sum64()
}

// step is a dwell that does not stand on the clock yet.
type step struct {
	band            string
	block, position int
	arm             string
}

func (p Plan) session(index int, source *rand.PCG) []Dwell {
	var steps []step
	for block := 1; block <= p.Sessions[index].Blocks; block++ {
		steps = append(steps, p.block(block, source)...)
	}
	out := make([]Dwell, len(steps))
	at := p.Sessions[index].StartMs
	for i, s := range steps {
		if i > 0 {
			at += p.gapMs(steps[i-1], s)
		}
		at = upToEdge(at, p.SlotMs)
		out[i] = Dwell{
			Session: index + 1, Band: s.band, Block: s.block, Position: s.position, Arm: s.arm,
			Start: utc(at), SettleEnd: utc(at + p.SettleMs), End: utc(at + p.DwellMs),
		}
		at += p.DwellMs
	}
	return out
}

func (p Plan) block(block int, source *rand.PCG) []step {
	var out []step
	if p.Rotate == ArmsWithinBand {
		for _, band := range p.Bands {
			for i, arm := range p.order(source) {
				out = append(out, step{band, block, i + 1, arm})
			}
		}
		return out
	}
	for i, arm := range p.order(source) {
		for _, band := range p.Bands {
			out = append(out, step{band, block, i + 1, arm})
		}
	}
	return out
}

// order draws the arms of one block, position by position.
func (p Plan) order(source *rand.PCG) []string {
	out := slices.Clone(p.Arms)
	for i := len(out) - 1; i > 0; i-- {
		j := below(source, uint64(i)+1)
		out[i], out[j] = out[j], out[i]
	}
	if p.Pattern == Mirrored {
		for i := len(p.Arms) - 1; i >= 0; i-- {
			out = append(out, out[i])
		}
	}
	return out
}

// below draws a whole number from 0 to n-1, each as likely as the other.
func below(source *rand.PCG, n uint64) uint64 {
	reject := -n % n // 2^64 mod n
	for {
		hi, lo := bits.Mul64(source.Uint64(), n)
		if lo >= reject {
			return hi
		}
	}
}

// gapMs is the time between two dwells of a session.
func (p Plan) gapMs(from, to step) int64 {
	several := len(p.Bands) > 1
	if from.block != to.block {
		gap := p.ArmChangeMs
		if several {
			gap = max(gap, p.BandChangeMs)
		}
		return max(gap, p.breakMs(from.block))
	}
	var gap int64
	middle := p.Pattern == Mirrored && from.position == len(p.Arms) && to.position == len(p.Arms)+1
	if from.position != to.position && !middle {
		gap = p.ArmChangeMs
	}
	if from.band != to.band {
		gap = max(gap, p.BandChangeMs)
	}
	return gap
}

func (p Plan) breakMs(block int) int64 {
	var longest int64
	for _, b := range p.Breaks {
		if b.AfterBlock == block {
			longest = max(longest, b.LengthMs)
		}
	}
	return longest
}

func overlap(sorted []Dwell) error {
	for i := 1; i < len(sorted); i++ {
		a, b := sorted[i-1], sorted[i]
		if b.Start.Before(a.End) {
			return fmt.Errorf("session %d lasts past %s, when session %d begins: start session %d later or give it fewer blocks",
				a.Session, b.Start.Format(time.RFC3339), b.Session, b.Session)
		}
	}
	return nil
}

func utc(ms int64) time.Time { return time.UnixMilli(ms).UTC() }
