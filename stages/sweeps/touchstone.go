package sweeps

import (
	"errors"
	"io"

	"fairlobe/stages/internal/match"
	"fairlobe/stages/internal/touchstone"
)

// readTouchstone takes the points of a Touchstone file, or refuses it whole.
func (f File) readTouchstone(plain io.Reader, c *content) error {
	got, err := touchstone.Read(plain)
	var bad *touchstone.Error
	switch {
	case errors.Is(err, touchstone.ErrEmpty):
		c.notes = append(c.notes, f.emptyFile())
		return nil
	case errors.As(err, &bad):
		return f.fault(bad.Line, clean(bad.What), clean(bad.Mend))
	case err != nil:
		return f.fault(0, err.Error(), "check the file, and fetch it again if it was cut")
	}
	for _, w := range got.Warnings {
		c.notes = append(c.notes, f.warn(w.Line, w.Code, w.What, w.Mend))
	}
	for _, p := range got.Points {
		r := reading{file: &f, line: p.Line, mhz: p.MHz, plane: f.Plane, measured: true}
		r.takeReflection(match.Renormalise(total(p.S), got.ReferenceOhm, f.reference()))
		c.readings = append(c.readings, r)
	}
	return nil
}

// total takes a magnitude that only printed digits keep above 1 as 1.
func total(gamma complex128) complex128 {
	if m := match.Magnitude(gamma); m > 1 && m <= touchstone.GainFrom {
		return gamma / complex(m, 0)
	}
	return gamma
}

// takeReflection fills the reading from a reflection coefficient against its reference. One above 1 has no SWR and bounds
// none: its return loss is negative.
func (r *reading) takeReflection(gamma complex128) {
	r.gamma, r.exact = gamma, true
	if z, ok := match.Impedance(gamma, r.file.reference()); ok {
		re, im := real(z), imag(z)
		r.r, r.x = &re, &im
	}
	r.returnLossDB = finite(match.ReturnLossDB(gamma))
	r.mismatchLossDB = finite(match.MismatchLossDB(gamma))
	r.swr = finite(match.SWR(gamma))
	r.low, r.high = r.swr, r.swr
	if match.Magnitude(gamma) > 1 {
		r.low = finite(1)
	}
}
