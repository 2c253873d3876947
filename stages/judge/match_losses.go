package judge

import (
	"fmt"
	"math"
	"slices"
)

// What a mismatch costs: of the power that a transmitter could give, the share that its mismatch at the radio keeps back,
// and what the feedline loses of the rest, with the standing wave on it. Both are in table sweeps. For a line of the
// transmitter's own impedance the two together are the line's matched loss and the mismatch loss at the feedpoint
// (1 - |g|^2 A^2 enters the line and A (1 - |g|^2) / (1 - |g|^2 A^2) of that leaves it; D. M. Pozar, Microwave
// Engineering, chapter 2), so where the arms were
// measured at the feedpoint and have one feedline, the difference of the mismatch losses there is the whole of it. It is
// assumed that the transmitter is matched to the reference impedance, keeps its power, and has no tuner behind it.

// lossPoint is what one reading loses, dB.
type lossPoint struct {
	mhz, db float64
}

// mostExplained is the share of a difference that match may explain before it is said.
const mostExplained = 0.5

// lossesOf gives the losses of an arm over a band, and whether they are those from the radio on or, if not, of the mismatch
// at the feedpoint alone; none where they are not known over the whole band.
func (c *court) lossesOf(arm string, band Band) (all []lossPoint, fromRadio bool) {
	fromRadio = slices.ContainsFunc(c.readings, func(r reading) bool { return r.arm == arm && r.lineLossDB != nil })
	type at struct {
		sweep string
		mhz   float64
	}
	atRadioOf := map[at]float64{}
	for _, r := range c.readings {
		if r.arm == arm && r.plane == atRadio && r.mismatchDB != nil {
			atRadioOf[at{r.sweep, r.mhz}] = *r.mismatchDB
		}
	}
	for _, r := range c.readings {
		if r.arm != arm || r.plane == atRadio || r.mhz < band.FromMHz || r.mhz > band.ToMHz {
			continue
		}
		near, known := atRadioOf[at{r.sweep, r.mhz}]
		switch {
		case fromRadio && known && r.lineLossDB != nil:
			all = append(all, lossPoint{r.mhz, near + *r.lineLossDB})
		case !fromRadio && r.measured && r.mismatchDB != nil:
			all = append(all, lossPoint{r.mhz, *r.mismatchDB})
		}
	}
	if hasGap(all, band) {
		return nil, fromRadio
	}
	return all, fromRadio
}

// hasGap tells whether over a quarter of a band lies between two readings, or between one and the edge.
func hasGap(all []lossPoint, band Band) bool {
	at := []float64{band.FromMHz, band.ToMHz}
	for _, p := range all {
		at = append(at, p.mhz)
	}
	slices.Sort(at)
	for i := 1; i < len(at); i++ {
		if at[i]-at[i-1] > widestGap*(band.ToMHz-band.FromMHz) {
			return true
		}
	}
	return false
}

// explainMatch says how much of a level the losses of the arms explain: those of the second arm less those of the first,
// each the mean over the readings on the band. On receive loss takes signal and noise alike, and so tells nothing.
func (c *court) explainMatch(e *Entry, band Band) {
	if e.Kind != "level" || e.Direction == nil || *e.Direction != "sent" || c.Tuner {
		return
	}
	a, fromRadioA := c.lossesOf(e.Arms[0], band)
	b, fromRadioB := c.lossesOf(e.Arms[1], band)
	if len(a) == 0 || len(b) == 0 || fromRadioA != fromRadioB || !fromRadioA && !c.OneFeedline {
		return
	}
	e.ExplainedDB = round4(meanLoss(b) - meanLoss(a))
}

func meanLoss(all []lossPoint) float64 {
	sum := 0.0
	for _, p := range all {
		sum += p.db
	}
	return sum / float64(len(all))
}

// warnOfMatch warns where match explains over half of a difference that is there.
func (e *Entry) warnOfMatch() {
	if e.ExplainedDB == nil || e.EstimateDB == nil || !excludesZero(e.IntervalDB) {
		return
	}
	share := *e.ExplainedDB / *e.EstimateDB
	if share <= mostExplained {
		return
	}
	part := "of the difference"
	if share > 1 {
		part = "and so more than the whole difference"
	}
	e.warn("match_explains", fmt.Sprintf("by the sweeps, mismatch and line loss explain %.2f dB %s of %.2f dB: match or feed the weaker arm better before you credit the antenna",
		math.Abs(*e.ExplainedDB), part, math.Abs(*e.EstimateDB)))
}

// RepeatedSweeps is how far the sweeps of one arm lie apart at the same frequencies: what the sweeps of two arms must exceed
// to tell a difference.
type RepeatedSweeps struct {
	Arm    string `json:"arm"`
	Plane  string `json:"plane"`
	Sweeps int    `json:"sweeps"`
	// Frequencies counts those at which at least two sweeps have a reading.
	Frequencies int `json:"frequencies"`
	// SWRSD and ReturnLossSD are standard deviations of one sweep, pooled over the frequencies.
	SWRSD        *float64 `json:"swr_sd"`
	ReturnLossSD *float64 `json:"return_loss_sd_db"`
}

// repeatability gives how far the sweeps of an arm lie apart; nil with fewer than two.
func repeatability(arm string, sweeps []measurement) *RepeatedSweeps {
	if len(sweeps) < 2 {
		return nil
	}
	swr, loss := map[float64][]float64{}, map[float64][]float64{}
	for _, sweep := range sweeps {
		for _, r := range sweep.judged {
			if r.swr != nil {
				swr[r.mhz] = append(swr[r.mhz], *r.swr)
			}
			if r.returnLossDB != nil {
				loss[r.mhz] = append(loss[r.mhz], *r.returnLossDB)
			}
		}
	}
	r := RepeatedSweeps{Arm: arm, Plane: sweeps[0].judged[0].plane, Sweeps: len(sweeps)}
	r.SWRSD, r.Frequencies = pooledSD(swr)
	r.ReturnLossSD, _ = pooledSD(loss)
	return &r
}

// pooledSD is the root of the squares about the mean of each frequency over their degrees of freedom; it counts the
// frequencies with at least two values.
func pooledSD(at map[float64][]float64) (sd *float64, frequencies int) {
	var squares, freedom float64
	for _, mhz := range sortedKeys(at) {
		values := at[mhz]
		if len(values) < 2 {
			continue
		}
		frequencies++
		mean := 0.0
		for _, v := range values {
			mean += v / float64(len(values))
		}
		for _, v := range values {
			squares += float64((v - mean) * (v - mean))
		}
		freedom += float64(len(values) - 1)
	}
	if freedom == 0 {
		return nil, 0
	}
	return round4(math.Sqrt(squares / freedom)), frequencies
}

func sortedKeys(m map[float64][]float64) []float64 {
	var keys []float64
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
