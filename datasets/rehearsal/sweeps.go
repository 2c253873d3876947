package rehearsal

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"path"
	"strconv"
	"strings"

	"fairlobe/experiments"
)

// resonance is the invented feed impedance of an arm on one band: a series circuit, which is what any wire looks like
// near one of its resonances, behind the transformer if there is one.
//
//	Z(f) = ohm (1 + j q (f/atMHz - atMHz/f))
type resonance struct {
	band       band
	z0Ohm      float64 // what its SWR refers to
	ohm, atMHz float64
	q          float64
}

// The feed resistances and the places of resonance that are invented, and the SWR at the edge of the band that is
// farther from the resonance: within what most radios take.
const (
	leastOhm, mostOhm = 0.84, 1.24 // of the reference
	leastAt, mostAt   = 0.4, 0.6   // of the band's width
	edgeSWR           = 1.7
)

// resonanceOf invents the resonance of an arm on a band, of an arm that is meant for a reference, ohm.
func resonanceOf(random *rand.Rand, b band, z0Ohm float64) resonance {
	r := resonance{band: b, z0Ohm: z0Ohm, ohm: z0Ohm * (leastOhm + float64((mostOhm-leastOhm)*random.Float64()))}
	r.atMHz = b.fromMHz + float64((b.toMHz-b.fromMHz)*(leastAt+float64((mostAt-leastAt)*random.Float64())))
	for _, step := range []float64{8, 4, 2, 1, 0.5, 0.25, 0.125} { // the largest q that keeps the edges
		r.q += step
		if r.highest() > edgeSWR {
			r.q -= step
		}
	}
	return r
}

// highest is the highest SWR at the feedpoint within the band. It stands at an edge.
func (r resonance) highest() float64 {
	return max(swr(r.at(r.band.fromMHz), r.z0Ohm), swr(r.at(r.band.toMHz), r.z0Ohm))
}

// at is the impedance at a frequency, ohm.
func (r resonance) at(mhz float64) complex128 {
	away := mhz/r.atMHz - r.atMHz/mhz
	return complex(r.ohm, float64(r.ohm*r.q)*away)
}

// usualOhm is what SWR and return loss refer to where nothing else is said.
const usualOhm = 50

func reflection(z complex128, z0Ohm float64) complex128 {
	z0 := complex(z0Ohm, 0)
	return (z - z0) / (z + z0)
}

func swr(z complex128, z0Ohm float64) float64 {
	g := cmplx.Abs(reflection(z, z0Ohm))
	return (1 + g) / (1 - g)
}

// reading is one point of a sweep.
type reading struct {
	mhz float64
	z   complex128 // ohm, at the plane of the sweep
}

// steps is in how many steps a sweep goes from one edge of a band to the other.
const steps = 20

// sweep measures the resonances through a line, each over its band and one step more at both ends.
func sweep(resonances []resonance, l line) []reading {
	var out []reading
	for _, r := range resonances {
		width := (r.band.toMHz - r.band.fromMHz) / steps
		for i := -1; i <= steps+1; i++ {
			mhz := math.Round((r.band.fromMHz+float64(width*float64(i)))*1e5) / 1e5
			out = append(out, reading{mhz, l.input(r.at(mhz), mhz)})
		}
	}
	return out
}

// touchstone writes a sweep as a one-port file: Touchstone File Format Specification, version 1.1 (the form without
// keywords), S-parameters as real and imaginary part against a reference, ohm.
func touchstone(readings []reading, z0Ohm float64, about string) []byte {
	var out bytes.Buffer
	fmt.Fprintf(&out, "! %s\n! Invented.\n# MHZ S RI R %s\n", about, plainNumber(z0Ohm, 4))
	for _, r := range readings {
		g := reflection(r.z, z0Ohm)
		fmt.Fprintf(&out, "%.5f %.6f %.6f\n", r.mhz, real(g), imag(g))
	}
	return out.Bytes()
}

// readingRow gives what an analyser displays at a point, by the names on the left of columns.
func readingRow(r reading, z0Ohm float64, unit string) row {
	at := r.mhz
	switch unit {
	case "kHz":
		at *= 1e3
	case "Hz":
		at *= 1e6
	}
	return row{
		"frequency_mhz":  {plainNumber(at, 5)},
		"swr":            {fmt.Sprintf("%.2f", swr(r.z, z0Ohm))},
		"return_loss_db": {fmt.Sprintf("%.1f", -20*math.Log10(max(cmplx.Abs(reflection(r.z, z0Ohm)), 1e-4)))},
		"r_ohm":          {fmt.Sprintf("%.1f", real(r.z))},
		"x_ohm":          {fmt.Sprintf("%.1f", imag(r.z))},
	}
}

// plainNumber writes a number with at most so many decimals and no zeros at its end.
func plainNumber(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// sweepFiles writes a sweep for each [[sweeps]] table, measured where it says.
func (s *scene) sweepFiles() ([]made, error) {
	var out []made
	for n, src := range s.exp.Sweeps {
		table := fmt.Sprintf("sweeps[%d]", n)
		name, ok := fileName(src.Files[0], "sweep", 0)
		if !ok {
			return nil, s.noName(table, src.Files[0], "sweeps/"+path.Base(src.Arm)+"-*.s1p")
		}
		data, err := s.measured(src)
		if err == nil && strings.HasSuffix(name, ".gz") {
			data, err = packed(data)
		}
		if err != nil {
			return nil, fmt.Errorf("writing %s: %w", name, err)
		}
		out = append(out, made{File{name, data}, table})
	}
	return out, nil
}

// measured is a sweep in the form that its table declares.
func (s *scene) measured(src experiments.SweepSource) ([]byte, error) {
	readings := sweep(s.resonances(src.Arm), s.lineTo(src))
	if src.Format == "touchstone" {
		return touchstone(readings, s.reference(src.Arm), fmt.Sprintf("%s, at the %s", asciiOnly(src.Arm), src.At)), nil
	}
	rows := make([]row, len(readings))
	for i, r := range readings {
		rows[i] = readingRow(r, cmp.Or(src.Z0Ohm, usualOhm), src.Table.Columns["frequency_mhz"].Unit)
	}
	return writeTable(src.Table, sweepNames, rows)
}

// lineTo is what lies between the analyser and the feedpoint.
func (s *scene) lineTo(src experiments.SweepSource) line {
	if src.At == "feedpoint" {
		return line{}
	}
	return lineOf(s.exp, src.Arm)
}

// resonances are those of an arm on all bands of the trial, the same wherever they are measured.
func (s *scene) resonances(arm string) []resonance {
	var out []resonance
	for _, b := range s.trial.Bands {
		edges, _ := bandNamed(b.Name)
		out = append(out, resonanceOf(stream(s.seed, "sweep/"+b.Name+"/"+arm), edges, s.reference(arm)))
	}
	return out
}

// reference is what the SWR of an arm refers to, ohm, by the first of its sweeps.
func (s *scene) reference(arm string) float64 {
	for _, src := range s.exp.Sweeps {
		if src.Arm == arm && src.Z0Ohm > 0 {
			return src.Z0Ohm
		}
	}
	return usualOhm
}

func asciiOnly(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, text)
}
