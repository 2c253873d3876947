package planning

import (
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"io/fs"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"fairlobe/datasets"
	"fairlobe/experiments"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/contrast"
	"fairlobe/stages/internal/geo"
	"fairlobe/stages/internal/signflip"
	"fairlobe/stages/internal/station"
)

// mostUncertainBearing is the greatest uncertainty of a bearing, degrees, that the judge accepts for a lobe.
const mostUncertainBearing = 20

// Pilot is a former run of these arms. A nil Pilot has no figures.
type Pilot struct {
	Title    string
	exp      *experiments.Experiment
	stations []farEnd
	blocks   map[string]map[[2]int64]int // band -> session and number -> place in time
	dwells   map[string][]pilotDwell     // by band, of blocks that count
	reports  []pilotReport
}

type farEnd struct {
	contrast.Station
	km             float64
	located, usual bool // usual: outside the own square
}

// pilotDwell is the middle of a dwell, s from the first one.
type pilotDwell struct {
	block   int
	arm     string
	middleS float64
}

type pilotReport struct {
	session, number      int64
	band, arm, direction string
	station              int
	slotMs               int64
	dithered             float64
}

// ReadPilot reads the output folder of a former run: verdicts.json and the tables dwells, stations and receptions. name
// is the folder as the user calls it. What is wrong comes as a diag.List that names the file and the mend.
func ReadPilot(folder fs.FS, name string, exp *experiments.Experiment) (*Pilot, error) {
	fault := func(file, msg, mend string) error {
		if file != "" {
			file = "/" + file
		}
		return diag.List{{Pos: diag.Pos{File: name + file}, Msg: msg, Mend: mend}}
	}
	const again = "name the output folder of `fairlobe run`, such as my-wire.out"
	var verdicts struct {
		Experiment string `json:"experiment"`
	}
	text, err := fs.ReadFile(folder, "verdicts.json")
	if err != nil {
		return nil, fault("", "this is no output folder of a run: "+why(err), again)
	}
	if err := json.Unmarshal(text, &verdicts); err != nil {
		return nil, fault("verdicts.json", "the file can't be read: "+err.Error(), "run the former experiment again")
	}
	tables := map[string]arrow.Record{}
	schemas := pilotTables()
	for _, name := range slices.Sorted(maps.Keys(schemas)) {
		file := "tables/" + name + ".parquet"
		data, err := fs.ReadFile(folder, file)
		if err != nil {
			return nil, fault(file, "the table can't be read: "+why(err), again)
		}
		if tables[name], err = table.Decode(memory.NewGoAllocator(), data, schemas[name]); err != nil {
			return nil, fault(file, err.Error(), "run the former experiment again, with this version")
		}
	}
	p := NewPilot(verdicts.Experiment, tables, exp)
	if !p.fits() {
		return nil, fault("", fmt.Sprintf("the former run %q has none of the compared arms on any of the bands", p.Title), "name a run of these arms; arms and bands are found by their names")
	}
	return p, nil
}

// pilotTables are the tables that a pilot is read from.
func pilotTables() map[string]*arrow.Schema {
	return map[string]*arrow.Schema{"dwells": datasets.Dwells(), "stations": datasets.Stations(), "receptions": datasets.Receptions()}
}

// NewPilot takes the tables dwells, stations and receptions of a former run of that title. They are not kept.
func NewPilot(title string, tables map[string]arrow.Record, exp *experiments.Experiment) *Pilot {
	p := &Pilot{Title: title, exp: exp, blocks: map[string]map[[2]int64]int{}, dwells: map[string][]pilotDwell{}}
	p.loadBlocks(table.NewReader(tables["dwells"]))
	p.loadStations(table.NewReader(tables["stations"]))
	p.loadReports(table.NewReader(tables["receptions"]))
	return p
}

// why leaves the path out, which is said already.
func why(err error) string {
	if errors.Is(err, fs.ErrNotExist) {
		return "there is no such file"
	}
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}

func (p *Pilot) loadBlocks(r *table.Reader) {
	var first time.Time
	for r.Next() {
		band, start := r.Str("band"), r.Time("start")
		if first.IsZero() {
			first = start
		}
		if !r.Bool("kept") {
			continue
		}
		if p.blocks[band] == nil {
			p.blocks[band] = map[[2]int64]int{}
		}
		at := [2]int64{r.Int("session"), r.Int("block")}
		if _, known := p.blocks[band][at]; !known { // the table is sorted by start
			p.blocks[band][at] = len(p.blocks[band])
		}
		middle := start.Add(r.Time("end").Sub(start) / 2)
		p.dwells[band] = append(p.dwells[band], pilotDwell{p.blocks[band][at], r.Str("arm"), middle.Sub(first).Seconds()})
	}
}

func (p *Pilot) loadStations(r *table.Reader) {
	regions := map[string]int{}
	var calls, places []string
	for r.Next() {
		name := r.Str("region")
		if _, ok := regions[name]; !ok {
			regions[name] = len(regions)
		}
		s := farEnd{Station: contrast.Station{Region: regions[name]}, usual: name != station.RegionOwnSquare}
		if !r.Null("bearing_deg") && !r.Null("distance_km") {
			s.located, s.km = true, station.RoundKm(r.Float("distance_km"))
			s.AzimuthRad = station.RoundDeg(r.Float("bearing_deg")) * math.Pi / 180
			s.LogDistance = math.Log(max(s.km, 1))
			s.HasAzimuth = geo.BearingUncertainty(station.RoundRadiusKm(r.Float("position_radius_km")), s.km) <= mostUncertainBearing
		}
		calls, places = append(calls, r.Str("call")), append(places, r.Str("place"))
		p.stations = append(p.stations, s)
	}
	for i, roaming := range station.Roaming(calls, places) {
		p.stations[i].HasAzimuth = p.stations[i].HasAzimuth && !roaming // as the judge has it
	}
}

func (p *Pilot) loadReports(r *table.Reader) {
	for r.Next() {
		p.reports = append(p.reports, pilotReport{session: r.Int("session"), number: r.Int("block"), band: r.Str("band"), arm: r.Str("arm"),
			direction: r.Str("direction"), station: int(r.Int("station")), slotMs: r.Time("slot").UnixMilli(), dithered: r.Float("snr_db") + r.Float("dither_db")})
	}
}

// fits tells whether any comparison of the experiment has figures.
func (p *Pilot) fits() bool {
	for _, c := range p.exp.Claims {
		for band := range p.blocks { // any will do
			if len(c.Bands) > 0 && !slices.Contains(c.Bands, band) {
				continue
			}
			if _, ok := p.figures(c, band); ok {
				return true
			}
		}
	}
	return false
}

// Figures are the noise of one comparison on one band of a former run.
type Figures struct {
	contrast.Spread
	Blocks int
	trial  *contrast.Trial
}

// figures gives those of a claim on a band, false where the former run has none or fewer than two blocks.
func (p *Pilot) figures(c experiments.Claim, band string) (Figures, bool) {
	if p == nil || len(c.Arms) != 2 {
		return Figures{}, false
	}
	places := p.blocks[band]
	if len(places) < 2 {
		return Figures{}, false
	}
	first := p.first(c)
	var reports []contrast.Report
	for _, r := range p.reports {
		at, kept := places[[2]int64{r.session, r.number}]
		if !kept || r.band != band || r.direction != c.Direction || !slices.Contains(c.Arms, r.arm) || !p.counts(c, r.station) {
			continue
		}
		reports = append(reports, contrast.Report{Block: at, Station: r.station, First: r.arm == first, Slot: r.slotMs, DitheredDB: r.dithered})
	}
	ends := make([]contrast.Station, len(p.stations))
	for i, s := range p.stations {
		ends[i] = s.Station
	}
	cut := p.exp.Fixed.CutDB
	t, err := contrast.New(ends, reports, contrast.Params{
		Blocks: len(places), CutDB: cut, DecodedDB: cut - contrast.SoftDB, CeilingDB: contrast.LaggingDB,
		Seed: p.exp.Seed, When: p.times(c, band)})
	if err != nil {
		return Figures{}, false
	}
	spread, ok := t.Spread()
	return Figures{spread, len(places), t}, ok && spread.SigmaDB > 0
}

// times are the middles of the dwells of either arm in each block; nil where a block lacks one, and drift can't be told.
func (p *Pilot) times(c experiments.Claim, band string) []contrast.Times {
	first := p.first(c)
	out := make([]contrast.Times, len(p.blocks[band]))
	counts := make([][2]float64, len(out))
	for _, d := range p.dwells[band] {
		switch {
		case d.arm == first:
			out[d.block].FirstS += d.middleS
			counts[d.block][0]++
		case slices.Contains(c.Arms, d.arm):
			out[d.block].SecondS += d.middleS
			counts[d.block][1]++
		}
	}
	for b, n := range counts {
		if n[0] == 0 || n[1] == 0 {
			return nil
		}
		out[b].FirstS /= n[0]
		out[b].SecondS /= n[1]
	}
	return out
}

// first is the arm of a comparison that stands first in the experiment file: the judge calculates that way round.
func (p *Pilot) first(c experiments.Claim) string {
	for _, a := range p.exp.Arms {
		if slices.Contains(c.Arms, a.Name) {
			return a.Name
		}
	}
	return c.Arms[0]
}

func (p *Pilot) counts(c experiments.Claim, number int) bool {
	if number < 0 || number >= len(p.stations) {
		return false
	}
	s := p.stations[number]
	return s.usual && (c.WithinKm == nil || s.located && s.km >= c.WithinKm[0] && s.km <= c.WithinKm[1])
}

// sigma is the upper 80 % limit of the standard deviation.
func (f Figures) sigma() Assumed {
	return Assumed{Value: float64(f.SigmaDB * contrast.PilotFactor(f.Blocks)), Unit: "dB", Measured: true,
		From: fmt.Sprintf("former run: %.2f dB in %d blocks, its upper 80 %% limit", f.SigmaDB, f.Blocks)}
}

// lobe is the same for a lobe of a shape, in its worst direction; false where the former run can't tell.
func (f Figures) lobe(shape string) (Assumed, bool) {
	of := map[string]contrast.Shape{"one-sided": contrast.OneSided, "two-sided": contrast.TwoSided, "any": contrast.Any}[shape]
	sigma := f.trial.Directivity(of).SigmaDB
	if !(sigma > 0) {
		return Assumed{}, false
	}
	return Assumed{Value: float64(sigma * contrast.PilotFactor(f.Blocks)), Unit: "dB", Measured: true,
		From: fmt.Sprintf("former run: %.2f dB in %d blocks, its upper 80 %% limit", sigma, f.Blocks)}, true
}

// Recipe is what drawing the blocks of a former run again gives.
type Recipe struct {
	At80, At90 int // blocks, 0 where recipeMost do not do
	Repeats    int
}

const (
	recipeRepeats = 500
	recipeMost    = 24
)

// recipe draws blocks of the former run with replacement, gives each a random sign, adds the difference and tests. Blocks
// are added until the wanted share is significant. The noise is that of the upper 80 % limit. Which arm is the better one
// does not matter: the signs of the noise are a coin's.
func (f Figures) recipe(d, alpha float64, seed uint64) *Recipe {
	out := &Recipe{Repeats: recipeRepeats}
	for n := contrast.FewestBlocks(alpha, 1); n <= recipeMost; n++ {
		share := f.redrawn(d, alpha, n, seed)
		if out.At80 == 0 && share >= usualPower {
			out.At80 = n
		}
		if share >= highPower {
			out.At90 = n
			break
		}
	}
	return out
}

// redrawn is the share of significant trials of n blocks.
func (f Figures) redrawn(d, alpha float64, n int, seed uint64) float64 {
	h := fnv.New64a()
	h.Write([]byte("planning"))
	random := rand.New(rand.NewPCG(seed, h.Sum64()+uint64(n)))
	flips := signflip.NewPlan(n, seed)
	factor := contrast.PilotFactor(f.Blocks)
	found := 0
	for range recipeRepeats {
		g := make([]float64, n)
		for b := range g {
			from := random.IntN(len(f.G))
			noise := float64(f.G[from] * factor)
			if random.IntN(2) == 0 {
				noise = -noise
			}
			g[b] = noise + float64(f.Kappa*f.W[from]*d)
		}
		if flips.Abs(g) <= alpha {
			found++
		}
	}
	return float64(found) / recipeRepeats
}
