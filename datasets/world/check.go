package world

import (
	"fmt"
	"maps"
	"slices"
	"time"
)

// check tells in words what is wrong with the settings.
func (p Params) check() error {
	if p.Stations < 1 {
		return fmt.Errorf("no station at all: there is nobody to hear the trial")
	}
	if p.Stations > maxStations {
		return fmt.Errorf("%d stations are more than %d", p.Stations, maxStations)
	}
	if p.Clusters < 1 && p.ScatteredShare < 1 {
		return fmt.Errorf("no clusters for the stations that live in clusters")
	}
	if !(p.NearestKm >= 0 && p.NearestKm < p.FarthestKm && p.FarthestKm <= 20_000) {
		return fmt.Errorf("distances from %g to %g km: they must rise and lie within 0 to 20000 km", p.NearestKm, p.FarthestKm)
	}
	if p.SpreadHighHz > 0 && !(p.SpreadLowHz > 0 && p.SpreadLowHz <= p.SpreadHighHz) {
		return fmt.Errorf("path spread from %g to %g Hz: it must rise and be above 0", p.SpreadLowHz, p.SpreadHighHz)
	}
	for _, n := range p.shares() {
		if !(n.value >= 0 && n.value <= 1) {
			return fmt.Errorf("%s is %g: a share lies within 0 to 1", n.name, n.value)
		}
	}
	for _, n := range p.sizes() {
		if !(n.value >= 0) {
			return fmt.Errorf("%s is %g: it can't be below 0", n.name, n.value)
		}
	}
	for _, n := range p.times() {
		if n.value <= 0 {
			return fmt.Errorf("%s is %s: it must be above 0", n.name, n.value)
		}
	}
	return nil
}

// maxStations keeps call signs of five characters plentiful.
const maxStations = 10_000

type named[T any] struct {
	name  string
	value T
}

func (p Params) shares() []named[float64] {
	return []named[float64]{
		{"DriftShared", p.DriftShared}, {"DayShared", p.DayShared}, {"BurstShare", p.BurstShare},
		{"ThinnedShare", p.ThinnedShare}, {"LastShare", p.LastShare}, {"BestShare", p.BestShare},
		{"LastShare and BestShare together", p.LastShare + p.BestShare},
		{"SteadyShare", p.SteadyShare}, {"SteadyListens", p.SteadyListens}, {"ListensLow", p.ListensLow},
		{"ListensHigh", p.ListensHigh}, {"AllBandsShare", p.AllBandsShare}, {"SendersShare", p.SendersShare},
		{"SendShare", p.SendShare}, {"LoggedShare", p.LoggedShare}, {"ScatteredShare", p.ScatteredShare},
		{"CrowdShare", p.CrowdShare}, {"PlacelessShare", p.PlacelessShare}, {"CoarseShare", p.CoarseShare},
		{"PortableShare", p.PortableShare}, {"BackgroundShare", p.BackgroundShare}, {"CompressSlope", p.CompressSlope},
	}
}

func (p Params) sizes() []named[float64] {
	return []named[float64]{
		{"SlowSD", p.SlowSD}, {"DriftSD", p.DriftSD}, {"DaySD", p.DaySD}, {"SiteSD", p.SiteSD}, {"NoiseSD", p.NoiseSD},
		{"StepsPerHour", p.StepsPerHour}, {"StepSD", p.StepSD}, {"ErrorSD", p.ErrorSD}, {"ReceiverSD", p.ReceiverSD},
		{"RegionSD", p.RegionSD}, {"SetupSD", p.SetupSD}, {"PowerSD", p.PowerSD}, {"ClusterKm", p.ClusterKm},
		{"OffsetSD", p.OffsetSD}, {"TheirPowerSD", p.TheirPowerSD}, {"CrowdDeg", p.CrowdDeg}, {"SoftDB", p.SoftDB},
	}
}

func (p Params) times() []named[time.Duration] {
	return []named[time.Duration]{
		{"SlowTime", p.SlowTime}, {"DriftTime", p.DriftTime}, {"ReportEvery", p.ReportEvery}, {"StretchTime", p.StretchTime},
	}
}

// class finds the figures of the trial's mode.
func (p Params) class(slot time.Duration) (Class, error) {
	i := slices.IndexFunc(p.Classes, func(c Class) bool { return c.Slot == slot })
	if i < 0 {
		return Class{}, fmt.Errorf("no decoding figures for slots of %s", slot)
	}
	if c := p.Classes[i]; c.Slot > 0 && c.OnAir > 0 {
		return c, nil
	}
	return Class{}, fmt.Errorf("decoding figures for slots of %s: slot and time on the air must be above 0", slot)
}

// checkPower tells if a power is set for an arm that the trial does not have.
func (p Params) checkPower(t Trial) error {
	var arms []string
	for _, d := range t.Dwells {
		arms = append(arms, d.Arm)
	}
	for _, arm := range slices.Sorted(maps.Keys(p.PowerDB)) {
		if !slices.Contains(arms, arm) {
			return fmt.Errorf("PowerDB is told for arm %q, which the trial does not have", arm)
		}
	}
	return nil
}

// check tells in words what is wrong with the trial.
func (t Trial) check() error {
	if !(t.LatitudeDeg >= -90 && t.LatitudeDeg <= 90 && t.LongitudeDeg >= -180 && t.LongitudeDeg <= 180) {
		return fmt.Errorf("own place %g, %g: latitude lies within -90 to 90, longitude within -180 to 180 degrees", t.LatitudeDeg, t.LongitudeDeg)
	}
	if !slices.Contains([]string{everySlot, evenSlots, oddSlots, asLogged}, t.Sends) {
		return fmt.Errorf("the station sends in %q: it must be %q, %q, %q or %q", t.Sends, everySlot, evenSlots, oddSlots, asLogged)
	}
	if len(t.Bands) == 0 || len(t.Dwells) == 0 {
		return fmt.Errorf("a trial of %d bands and %d dwells: there is nothing to carry out", len(t.Bands), len(t.Dwells))
	}
	for i, b := range t.Bands {
		if slices.ContainsFunc(t.Bands[:i], func(other Band) bool { return other.Name == b.Name }) {
			return fmt.Errorf("band %s stands twice in the trial", b.Name)
		}
		if b.OpeningDB != 0 && !(b.OpeningHours > 0) {
			return fmt.Errorf("band %s: OpeningHours is %g, it must be above 0", b.Name, b.OpeningHours)
		}
	}
	return t.checkDwells()
}

func (t Trial) checkDwells() error {
	for i, d := range t.Dwells {
		if err := t.checkDwell(d); err != nil {
			return fmt.Errorf("dwell %d (session %d, %s, block %d, position %d): %w", i, d.Session, d.Band, d.Block, d.Position, err)
		}
	}
	for _, b := range t.Bands {
		last := -1
		for _, i := range t.dwellsOf(b.Name) {
			if last >= 0 && t.Dwells[i].Start.Before(t.Dwells[last].End) {
				return fmt.Errorf("dwells %d and %d are on %s at the same time", last, i, b.Name)
			}
			last = i
		}
	}
	return nil
}

func (t Trial) checkDwell(d Dwell) error {
	i := slices.IndexFunc(t.Bands, func(b Band) bool { return b.Name == d.Band })
	if i < 0 {
		return fmt.Errorf("no such band in the trial")
	}
	if _, ok := t.Bands[i].Arms[d.Arm]; !ok {
		return fmt.Errorf("the truth about arm %q is not told", d.Arm)
	}
	if _, ok := t.Bands[i].Arms[d.Before]; !ok && d.Before != "" {
		return fmt.Errorf("the truth about arm %q is not told, which was on before", d.Before)
	}
	if !d.Start.Before(d.End) {
		return fmt.Errorf("it ends at %s, before it starts", d.End.UTC().Format(time.RFC3339))
	}
	return nil
}

// dwellsOf lists the dwells of a band by their start.
func (t Trial) dwellsOf(band string) []int {
	var these []int
	for i, d := range t.Dwells {
		if d.Band == band {
			these = append(these, i)
		}
	}
	slices.SortFunc(these, func(a, b int) int { return t.Dwells[a].Start.Compare(t.Dwells[b].Start) })
	return these
}
