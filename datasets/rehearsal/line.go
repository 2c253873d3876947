package rehearsal

import (
	"math"
	"math/cmplx"

	"fairlobe/experiments"
)

// line is the feedline that an experiment declares for an arm.
type line struct {
	lengthM float64
	loss    experiments.Loss
}

// lineOf gives the feedline of an arm. Without a declared length or loss there is none to speak of.
func lineOf(e *experiments.Experiment, arm string) line {
	length, ok := e.Number(arm, "feedline_length_m")
	loss, known := variable(e, arm, "feedline_loss_db_per_100m").(experiments.Loss)
	if !ok || !known {
		return line{}
	}
	return line{length, loss}
}

// variable gives a variable of an arm, its own or the fixed one; nil if neither states it.
func variable(e *experiments.Experiment, arm, name string) any {
	a, _ := e.Arm(arm)
	for _, list := range [][]experiments.Variable{a.Variables, e.Fixed.Variables} {
		for _, v := range list {
			if v.Name == name {
				return v.Value
			}
		}
	}
	return nil
}

// input is the impedance, in ohm, at the radio's end of the line with a load at the other: D. M. Pozar, Microwave
// Engineering, section 2.1, for the input impedance and 2.7 for the propagation constant of a line with small losses.
// The matched loss grows with the square root of the frequency, as that of the conductors does.
func (l line) input(load complex128, mhz float64) complex128 {
	if l.lengthM == 0 {
		return load
	}
	const (
		lightMMHz = 299.792458 // m/s * 1e-6
		dBPerNp   = 8.685889638
	)
	alpha := l.loss.DB / 100 / dBPerNp * math.Sqrt(mhz/l.loss.AtMHz)
	beta := 2 * math.Pi * mhz / (l.loss.VelocityFactor * lightMMHz)
	gamma := complex(alpha*l.lengthM, beta*l.lengthM)
	z0, c, s := complex(l.loss.Z0Ohm, 0), cmplx.Cosh(gamma), cmplx.Sinh(gamma)
	return z0 * (load*c + z0*s) / (z0*c + load*s)
}
