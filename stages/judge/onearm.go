package judge

import "math"

// sectorDeg is the width of the sectors in which stations are counted.
const sectorDeg = 45

// oneArm tells whether the claim asks for the directivity of one arm by itself.
func (c Claim) oneArm() bool { return c.Kind == "directivity" && len(c.Arms) == 1 }

// refuseOneArm: with one arm the data can't separate the antenna from the path. What may be shown is how many stations
// were heard, and where; there is no cut, as nothing is compared. The naive reading stands beside it because this is
// where it misleads most: receivers do not live evenly all round.
func (c *court) refuseOneArm(e *Entry) error {
	own := inBlocks(c.selectReceptions(e, e.Arms[0]), c.blocksOf(e.Band, 0))
	e.countOneArm(c.data, own)
	if described, err := c.describeControl(e, own); described || err != nil {
		return err
	}
	e.conclude(Refused, "one_arm", "without a second arm the data cannot separate the antenna from the path; turn this wire in random blocks, or name a control station"+c.unheardControl())
	return nil
}

// countOneArm counts the stations whose bearing is known well enough, their regions and their receptions.
func (e *Entry) countOneArm(d *data, all []reception) {
	heard, regions := map[int]bool{}, map[string]bool{}
	var inSector [360 / sectorDeg]int
	for _, r := range all {
		s := d.stations[r.station]
		if !s.forDirectivity() {
			continue
		}
		e.Receptions++
		if heard[r.station] {
			continue
		}
		heard[r.station], regions[s.region] = true, true
		inSector[int(math.Mod(s.azimuth, 360)/sectorDeg)]++
	}
	e.Stations, e.Regions = len(heard), len(regions)
	for i, n := range inSector {
		e.Directivity.Sectors = append(e.Directivity.Sectors, SectorEntry{FromDeg: float64(i * sectorDeg), ToDeg: float64((i + 1) * sectorDeg), Stations: n})
	}
	e.naiveLobe(d.bearingsOf(all, e.Arms[0]))
}
