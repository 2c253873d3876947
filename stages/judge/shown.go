package judge

import (
	"cmp"
	"math"
	"slices"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/contrast"
)

// lobeStepDeg is the step of the azimuths of table lobes.
const lobeStepDeg = 5

// seen gives what the reports of a claim's arms show, turned as the claim is.
func (p Params) seen(e *Entry, trial *contrast.Trial) contrast.Seen {
	s := trial.Seen()
	if _, _, turned := p.canonical(e.Arms); turned {
		return s.Negated()
	}
	return s
}

// blockTable gives the differences block by block, over the stations that enter the claim: for a directivity claim
// those whose bearing is known well enough.
func (p Params) blockTable(entries []*Entry) arrow.Record {
	b := table.NewBuilder(datasets.Blocks())
	for _, e := range entries {
		if e.heard == nil {
			continue
		}
		trial := e.heard.trial
		if e.Kind == "directivity" {
			trial = e.heard.flat.Located()
		}
		seen := p.seen(e, trial).Blocks
		for _, i := range bySession(e.heard.blocks) {
			at, s := e.heard.blocks[i], seen[i]
			b.Append(e.claimNumber, e.bandNumber, at.session, at.number, round4(s.DifferenceDB), *round4(s.W), s.Stations)
		}
	}
	return b.Record()
}

// bySession gives the places of blocks in the order of session and number.
func bySession(blocks []block) []int {
	places := make([]int, len(blocks))
	for i := range places {
		places[i] = i
	}
	slices.SortFunc(places, func(i, j int) int {
		return cmp.Or(cmp.Compare(blocks[i].session, blocks[j].session), cmp.Compare(blocks[i].number, blocks[j].number))
	})
	return places
}

// differenceTable gives the differences station by station.
func (p Params) differenceTable(d *data, entries []*Entry) arrow.Record {
	b := table.NewBuilder(datasets.Differences())
	for _, e := range entries {
		if e.heard == nil {
			continue
		}
		for _, s := range p.seen(e, e.heard.trial).Stations {
			b.Append(e.claimNumber, e.bandNumber, s.Station, *round4(s.DifferenceDB), *round4(s.Weight), s.Blocks, d.stations[s.Station].forDirectivity())
		}
	}
	return b.Record()
}

// lobeTable gives the fitted lobes whose amplitude stands in the verdict: a curve without its region would show an
// amplitude without its interval. The ends of the region are rounded outward, as all interval ends are.
func lobeTable(entries []*Entry) arrow.Record {
	b := table.NewBuilder(datasets.Lobes())
	for _, e := range entries {
		if e.shownLobe == nil {
			continue
		}
		for deg := 0; deg < 360; deg += lobeStepDeg {
			fit, region := e.shownLobe.Toward(float64(deg) * math.Pi / 180)
			b.Append(e.claimNumber, e.bandNumber, float64(deg), *round4(fit), step(region.LowDB, math.Floor), step(region.HighDB, math.Ceil))
		}
	}
	return b.Record()
}
