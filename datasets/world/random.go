package world

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"strconv"
)

// stream gives the random numbers of one named part of the model.
func (t Trial) stream(part, of string, number int) *rand.Rand {
	h := fnv.New64a()
	for _, s := range []string{part, "/", of, "/", strconv.Itoa(number)} {
		h.Write([]byte(s))
	}
	return rand.New(rand.NewPCG(t.Seed, h.Sum64()))
}

// between draws from low to high.
func between(random *rand.Rand, low, high float64) float64 {
	return low + float64((high-low)*random.Float64())
}

// fading is Rayleigh fading averaged over a transmission: the mean of k independent exponential powers, which is
// Gamma(k)/k. The zero value does not fade.
type fading struct{ k, d, c float64 }

// fadingOf gives the fading of a path. k is what makes the variance of the mean right for a Gaussian Doppler spectrum,
// whose power correlation is exp(-(pi*spread*lag)^2).
func fadingOf(spreadHz, onAirSeconds float64) fading {
	if spreadHz == 0 {
		return fading{}
	}
	a := math.Pi * spreadHz * onAirSeconds
	k := 1 / (math.Sqrt(math.Pi)*math.Erf(a)/a + math.Expm1(-a*a)/(a*a))
	d := k - 1.0/3
	return fading{k: k, d: d, c: 1 / math.Sqrt(9*d)}
}

// drawDB gives one slot's fading, dB; the mean power is 0 dB, so the mean of the dB is below. Marsaglia and Tsang, A simple
// method for generating gamma variables, ACM TOMS 26, 2000; k is at least 1, as it must be.
func (f fading) drawDB(random *rand.Rand) float64 {
	if f.k == 0 {
		return 0
	}
	for {
		x := random.NormFloat64()
		v := 1 + float64(f.c*x)
		if v <= 0 {
			continue
		}
		v = float64(v * v * v)
		if u := random.Float64(); math.Log(u) < float64(0.5*x*x)+float64(f.d*(1-v+math.Log(v))) {
			return 10 * math.Log10(f.d*v/f.k)
		}
	}
}
