package planning

import "math"

// The exposure estimate. S = F EIRP_avg/(4 pi r^2), with F = 4 for a reflection that doubles the field (FCC OET Bulletin
// 65, 1997, equation 6: a full reflection), against the limits for people who do not know of it (47 CFR 1.1310, table 1).
const (
	reflection = 4.0
	dipoleGain = 1.64 // half-wave dipole in free space, times isotropic; the ground is in the reflection
)

// Exposure is the distance that the formula gives on one band.
type Exposure struct {
	Band string
	MHz  float64
	// MetresAt is where the mean power density has the limit.
	MetresAt float64
	// FieldFrom is lambda/(2 pi): nearer than this, or than the wire is long, the formula is not valid.
	FieldFrom float64
}

// limitWPerM2 is the limit of the power density, general population, W/m2 (1 mW/cm2 = 10 W/m2); NaN where the table has
// none.
func limitWPerM2(mhz float64) float64 {
	switch {
	case mhz < 0.3 || mhz > 1500:
		return math.NaN()
	case mhz < 1.34:
		return 1000
	case mhz < 30:
		return 1800 / (mhz * mhz)
	case mhz < 300:
		return 2
	}
	return mhz / 150
}

// exposureAt is the estimate for a mean power.
func exposureAt(band string, mhz, meanWatts float64) Exposure {
	const light = 299.792458 // m times MHz
	return Exposure{Band: band, MHz: mhz, FieldFrom: light / mhz / (2 * math.Pi),
		MetresAt: math.Sqrt(reflection * dipoleGain * meanWatts / (4 * math.Pi * limitWPerM2(mhz)))}
}

// exposures has one entry for each band.
func (p *Plan) exposures() []Exposure {
	w, _ := p.watts()
	var out []Exposure
	for _, b := range p.summary.Bands {
		if mhz, ok := p.in.Experiment.BandMHz(b.Band); ok {
			out = append(out, exposureAt(b.Band, mhz, w*p.duty()))
		}
	}
	return out
}
