package contrast

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// calibration widens the standard error of Beyond; it was set on simulated trials.
const calibration = 1.15

// Beyond speaks of stations like those heard, not only of these: it lets the difference vary
// between regions. It is an approximation.
type Beyond struct {
	SE       float64 // two-way (block, region) standard error of the estimate, dB
	Interval Interval
	P        float64
	// EffectiveRegions is 1 / sum of squared shares; below 5 there are too few regions to say.
	EffectiveRegions float64
	Shares           []RegionShare // regions with data, by label; shares sum to 1
	LargestRegion    float64       // greatest share of one region
	LargestStation   float64       // greatest share of one station
}

// RegionShare is the share of one region in the estimate.
type RegionShare struct {
	Region int
	Share  float64
}

// beyond evaluates at the estimate.
func (c *comparison) beyond(estimateDB float64) Beyond {
	c.at(estimateDB)
	total := sum(c.w)
	if total == 0 {
		return nothingBeyond()
	}
	var out Beyond
	out.shares(c, total)
	out.SE = calibration * math.Sqrt(c.twoWayVariance(out.Shares, total)) / total

	df := math.Max(math.Min(float64(c.trial.params.Blocks), out.EffectiveRegions)-1, 1)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}
	half := t.Quantile(1-Alpha/2) * out.SE
	out.Interval = Interval{LowDB: estimateDB - half, HighDB: estimateDB + half}
	out.P = 1
	if out.SE > 0 {
		out.P = math.Min(1, 2*t.Survival(math.Abs(estimateDB)/out.SE))
	} else if estimateDB != 0 {
		out.P = 0
	}
	return out
}

// nothingBeyond is what can be said without data.
func nothingBeyond() Beyond { return Beyond{SE: math.NaN(), Interval: unbounded(), P: 1} }

// sharesOnly is beyond where there is no estimate: the shares at no difference, and nothing of other stations.
func (c *comparison) sharesOnly() Beyond {
	out := nothingBeyond()
	c.at(0)
	out.shares(c, sum(c.w))
	return out
}

// shares sets the shares of regions and stations in the estimate.
func (out *Beyond) shares(c *comparison, total float64) {
	station := make([]float64, len(c.offset))
	for i, cell := range c.trial.cells {
		if m := c.m[cell.block]; m > 0 {
			station[cell.station] += float64(c.w[cell.block] / m * c.a[i] / total)
		}
	}
	for _, region := range c.trial.regions() {
		share := 0.0
		for r, s := range station {
			if c.trial.stations[r].Region == region {
				share += s
			}
		}
		if share > 0 {
			out.Shares = append(out.Shares, RegionShare{region, share})
		}
	}
	squares := 0.0
	for _, s := range out.Shares {
		squares += float64(s.Share * s.Share)
		out.LargestRegion = math.Max(out.LargestRegion, s.Share)
	}
	out.EffectiveRegions = 1 / squares
	out.LargestStation = slices.Max(station)
}

// regions lists the labels of the regions in rising order.
func (t *Trial) regions() []int {
	labels := make([]int, len(t.stations))
	for r, s := range t.stations {
		labels[r] = s.Region
	}
	slices.Sort(labels)
	return slices.Compact(labels)
}

// twoWayVariance is the variance of the sum of the influences psi, clustered by block and by region.
func (c *comparison) twoWayVariance(shares []RegionShare, total float64) float64 {
	blocks, regions := c.trial.params.Blocks, len(shares)
	place := make(map[int]int, regions)
	for j, s := range shares {
		place[s.Region] = j
	}
	mean := sum(c.g) / total
	both := make([]float64, blocks*regions) // sum of psi by block and region
	for i, cell := range c.trial.cells {
		if m := c.m[cell.block]; m > 0 && c.a[i] > 0 {
			e := c.d[i] - float64(c.a[i]*mean)
			both[cell.block*regions+place[c.trial.stations[cell.station].Region]] += float64(c.w[cell.block] / m * e)
		}
	}
	var vBlock, vRegion, vBoth float64
	byRegion := make([]float64, regions)
	for b := range blocks {
		row := both[b*regions : (b+1)*regions]
		s := sum(row)
		vBlock += float64(s * s)
		for j, x := range row {
			byRegion[j] += x
			vBoth += float64(x * x)
		}
	}
	for j, x := range byRegion {
		x /= 1 - math.Min(shares[j].Share, 0.9)
		vRegion += float64(x * x)
	}
	if blocks > 1 {
		vBlock *= float64(blocks) / float64(blocks-1)
	}
	vRegion *= float64(regions-1) / float64(regions)
	return max(vBlock, vRegion, vBlock+vRegion-vBoth)
}
