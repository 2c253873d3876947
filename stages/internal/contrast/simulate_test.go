package contrast

import (
	"math"
	"math/rand/v2"
)

// field is an invented trial: receivers all round with levels of their own, drift between the dwells,
// fast fading, a soft decoding threshold, whole decibels and the dither.
type field struct {
	stations, blocks, slots int
	meanDB                  float64                    // mean level of arm B
	effect                  func(s Station) float64    // true A-B
	azimuth                 func(r *rand.Rand) float64 // nil: uniform
	towardNorthDB           float64                    // how much stronger both arms are toward north, and weaker toward south
	receiverSD, regionSD    float64                    // of a difference of each receiver's, and of each region's, own
	waveDB                  float64                    // by how much the band rises and falls in twelve dwells
	lagsAbove               float64                    // above it reports follow the signal by half; 0: they follow it everywhere
}

func constant(d float64) func(Station) float64 { return func(Station) float64 { return d } }

func (f field) trial(seed uint64) *Trial {
	stations, reports := f.draw(seed)
	t, err := New(stations, reports, Params{Blocks: f.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: seed})
	if err != nil {
		panic(err)
	}
	return t
}

func (f field) draw(seed uint64) ([]Station, []Report) {
	r := rand.New(rand.NewPCG(seed, 77))
	stations := make([]Station, f.stations)
	base := make([]float64, f.stations)
	for i := range stations {
		az := r.Float64() * 2 * math.Pi
		if f.azimuth != nil {
			az = f.azimuth(r)
		}
		stations[i] = Station{AzimuthRad: az, HasAzimuth: true, Region: int(degrees(az)/30)*3 + r.IntN(3)}
		base[i] = f.meanDB + 6*r.NormFloat64() + float64(f.towardNorthDB*math.Cos(az))
	}
	own := f.own(r, stations)
	var reports []Report
	phase := 2 * math.Pi * r.Float64()
	for b := range f.blocks {
		swapped := r.IntN(2) == 1
		for dwell := range 2 {
			first := (dwell == 0) != swapped
			drift := 1.2*r.NormFloat64() + float64(f.waveDB*math.Sin(phase+float64(2*b+dwell)*math.Pi/6))
			for i, s := range stations {
				level := base[i] + drift + 1.5*r.NormFloat64()
				if first {
					level += f.effect(s) + own[i]
				}
				reports = append(reports, f.dwell(r, b, dwell, i, first, level)...)
			}
		}
	}
	return stations, reports
}

// own gives what each receiver adds to the difference between the arms.
func (f field) own(r *rand.Rand, stations []Station) []float64 {
	out := make([]float64, len(stations))
	if f.receiverSD == 0 && f.regionSD == 0 {
		return out
	}
	var regions [36]float64
	for i := range regions {
		regions[i] = f.regionSD * r.NormFloat64()
	}
	for i, s := range stations {
		out[i] = regions[s.Region] + float64(f.receiverSD*r.NormFloat64())
	}
	return out
}

func (f field) dwell(r *rand.Rand, block, dwell, station int, first bool, level float64) []Report {
	var out []Report
	for k := range f.slots {
		y := level + 2*r.NormFloat64()
		if y < -20.5+0.5*r.NormFloat64() {
			continue
		}
		if f.lagsAbove != 0 && y > f.lagsAbove {
			y = f.lagsAbove + (y-f.lagsAbove)/2
		}
		slot := int64((2*block+dwell)*f.slots + k)
		out = append(out, Report{block, station, first, slot, math.Round(y) + r.Float64() - 0.5})
	}
	return out
}

// swapArms gives the same reports with the arms exchanged.
func swapArms(reports []Report) []Report {
	out := make([]Report, len(reports))
	for i, r := range reports {
		r.First = !r.First
		out[i] = r
	}
	return out
}
