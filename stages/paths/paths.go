// Package paths tells what the sky was like between the own station and each station that a block holds receptions of:
// table paths, which is for people and for choosing what to look at. The judge does not read it.
//
// For each session, band, block and station: the elevation of the sun at both ends and at the middle of the short path, at the
// middle of the block's kept time; the distance class; the fewest hops and take-off angles by mirrors at 110, 250 and
// 350 km (package path); and the long path. Places are the centre of the own locator and those of table stations; a station
// of which only bearing and distance are told, as in a table that was handed over, stands where they lead. Sun, hops and line
// follow packages sun, path and geo.
//
// Nothing is predicted: neither whether a layer was there nor which way a signal came. Take-off angles are geometry, also
// where the way would be hidden or absorbed: stations within some 100 km are mostly heard by ground wave.
//
// Left out are stations without a place, stations in the own square, whose bearing and distance mean little, and the
// antipode, to which no line is the shortest.
//
// Numbers are rounded to 4 decimals (degrees, km), far finer than the models, so that the last bit of a processor's sine
// does not show.
package paths

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/geo"
	"fairlobe/stages/internal/locator"
	"fairlobe/stages/internal/station"
)

// TablePaths is the name of the stage's output.
const TablePaths = "paths"

// Params are the stage's parameters.
type Params struct {
	Locator string // of the own station
}

// Stage makes the stage: from tables dwells, stations and receptions to table paths.
func Stage(p Params) pipeline.Stage {
	return pipeline.Stage{
		Name: "paths", Version: 2, Needs: []string{"dwells", "stations", "receptions"}, Params: p,
		Makes: []pipeline.Output{{Name: TablePaths, Schema: datasets.Paths()}},
		Run: func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) {
			home, err := locator.Decode(p.Locator)
			if err != nil {
				return nil, fmt.Errorf("placing the own station: %w", err)
			}
			heard := heardIn(in.Table("receptions"))
			rows, err := layOut(heard, home.Centre(), readPlaces(in.Table("stations"), home.Centre()), middles(in.Table("dwells")))
			if err != nil {
				return nil, err
			}
			return &pipeline.Result{Tables: map[string]arrow.Record{TablePaths: encode(rows)}}, nil
		},
	}
}

// block is a block of the trial.
type block struct {
	session int64
	band    string
	number  int64
}

// pair is a block and a station that it holds receptions of, whichever the arm and direction.
type pair struct {
	block
	station int64
}

func (p pair) compare(o pair) int {
	return cmp.Or(cmp.Compare(p.session, o.session), cmp.Compare(p.band, o.band), cmp.Compare(p.number, o.number),
		cmp.Compare(p.station, o.station))
}

func blockOf(r *table.Reader) block { return block{r.Int("session"), r.Str("band"), r.Int("block")} }

// heardIn gives each pair once, in the order of the table.
func heardIn(receptions arrow.Record) []pair {
	seen := map[pair]bool{}
	for r := table.NewReader(receptions); r.Next(); {
		seen[pair{blockOf(r), r.Int("station")}] = true
	}
	return slices.SortedFunc(maps.Keys(seen), pair.compare)
}

// middles gives the middle of each block that counts: half way between the first moment that counts, which is the end of a
// settling time, and the end of its last dwell, in whole milliseconds.
func middles(dwells arrow.Record) map[block]time.Time {
	type span struct{ from, to time.Time }
	spans := map[block]span{}
	for r := table.NewReader(dwells); r.Next(); {
		if !r.Bool("kept") {
			continue
		}
		from, to := r.Time("settle_end"), r.Time("end")
		if s, ok := spans[blockOf(r)]; ok {
			from, to = earlier(s.from, from), later(s.to, to)
		}
		spans[blockOf(r)] = span{from, to}
	}
	out := map[block]time.Time{}
	for b, s := range spans {
		out[b] = s.from.Add(s.to.Sub(s.from) / 2).Truncate(time.Millisecond)
	}
	return out
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// place is where a station is, as seen from the own station.
type place struct {
	at                     geo.Point
	distanceKm, bearingDeg float64
	usable                 bool // it has a place, a bearing, and is not in the own square
}

func readPlaces(stations arrow.Record, home geo.Point) map[int64]place {
	out := map[int64]place{}
	for r := table.NewReader(stations); r.Next(); {
		var p place
		if !r.Null("distance_km") && !r.Null("bearing_deg") && r.Str("region") != station.RegionOwnSquare {
			p = place{distanceKm: r.Float("distance_km"), bearingDeg: r.Float("bearing_deg"), usable: true}
			if r.Null("latitude") || r.Null("longitude") {
				p.at = geo.Direct(home, p.bearingDeg, p.distanceKm)
			} else {
				p.at = geo.Point{LatDeg: r.Float("latitude"), LonDeg: r.Float("longitude")}
			}
		}
		out[r.Int("number")] = p
	}
	return out
}

// layOut makes the rows. The line to a station is the same in all blocks, and the sun the same for all stations of a block.
func layOut(heard []pair, home geo.Point, places map[int64]place, middles map[block]time.Time) ([]row, error) {
	lines := map[int64]line{}
	var now sky
	var out []row
	for i, p := range heard {
		if i == 0 || heard[i-1].block != p.block {
			middle, ok := middles[p.block]
			if !ok {
				return nil, fmt.Errorf("receptions of session %d, %s, block %d, but no dwell of it counts", p.session, p.band, p.number)
			}
			now = skyAt(middle, home)
		}
		far, ok := places[p.station]
		if !ok {
			return nil, fmt.Errorf("receptions of station %d, which is not in table stations", p.station)
		}
		if !far.usable {
			continue
		}
		l, ok := lines[p.station]
		if !ok {
			l = lineTo(home, far)
			lines[p.station] = l
		}
		out = append(out, row{pair: p, line: l, light: now.over(l), middle: now.middle})
	}
	return out, nil
}
