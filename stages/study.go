package stages

import (
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"regexp"
	"slices"

	"github.com/apache/arrow/go/v15/arrow/memory"

	"fairlobe/experiments"
	"fairlobe/experiments/repeat"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/table"
	"fairlobe/stages/handover"
	"fairlobe/stages/pooling"
	"fairlobe/stages/schedule"
)

// Bundle is what of a bundle is read; a bag.Bag is one.
type Bundle interface {
	Name() string
	Identity() string
	Info(label string) string
	File(name string) ([]byte, bool)
}

// Labels in bag-info.txt, beside those that package bag knows: who made a bundle, and under which licence.
const (
	OperatorLabel = "Fairlobe-Operator"
	LicenceLabel  = "Fairlobe-Licence"
)

var (
	operatorForm = regexp.MustCompile(`^[0-9a-f]{16}$`)
	digestForm   = regexp.MustCompile(`^sha256:[0-9a-f]{64}$`)
)

// StudyIn reads what a bundle found, for pooling. file is how the user named the bundle. What is missing, broken or can't be is a diag.List.
func StudyIn(b Bundle, file string) (*pooling.Study, error) {
	s, err := studyIn(b)
	var list diag.List
	if errors.As(err, &list) {
		return nil, inBundle(list, file)
	}
	if err != nil {
		return nil, err
	}
	s.File = file
	return s, nil
}

// inBundle puts a bundle's name before those of the files in it; a finding that names none is about the bundle.
func inBundle(list diag.List, bundle string) diag.List {
	within := func(p diag.Pos) diag.Pos {
		if p.File == "" {
			p.File = bundle
		} else {
			p.File = bundle + "/" + p.File
		}
		return p
	}
	out := slices.Clone(list)
	for i, d := range out {
		out[i].Pos = within(d.Pos)
		out[i].Related = slices.Clone(d.Related)
		for k, p := range d.Related {
			out[i].Related[k] = within(p)
		}
	}
	return out
}

func studyIn(b Bundle) (*pooling.Study, error) {
	files := handover.Files(b.File)
	if _, ok := b.File(handover.FileVerdicts); !ok {
		return nil, diag.List{{Code: "design_only", Msg: "this bundle holds a design and no data, so there is nothing to pool",
			Mend: "fairlobe receive makes a trial of it; once that is carried out, share it and pool the new bundle"}}
	}
	operator := b.Info(OperatorLabel)
	if !operatorForm.MatchString(operator) {
		return nil, diag.List{{Pos: diag.Pos{File: "bag-info.txt"}, Code: handover.Code, Msg: fmt.Sprintf("%s is no operator's number of 16 hexadecimal digits, so it can't be told who is independent of whom", OperatorLabel),
			Mend: "ask the sender for the bundle once more; it was not made by fairlobe share"}}
	}
	exp, planned, err := designIn(files)
	if err != nil {
		return nil, err
	}
	s := &pooling.Study{Name: b.Name(), Identity: b.Identity(), Title: exp.Title, Operator: operator, Square: experiments.CutLocator(exp.Station.Locator)}
	if s.Origin, err = originIn(files); err != nil {
		return nil, err
	}
	if err := findingsIn(files, exp, planned, s); err != nil {
		return nil, err
	}
	s.Receptions, err = receptionsIn(files)
	return s, err
}

// originIn reads which experiment this one repeats; nil if none.
func originIn(files handover.Files) (*pooling.Origin, error) {
	text, ok := files(handover.FileOrigin)
	if !ok {
		return nil, nil
	}
	o, err := repeat.Parse("data/"+handover.FileOrigin, text)
	if err != nil {
		return nil, err
	}
	return &pooling.Origin{Identity: o.Identity, Title: o.Title, Kind: o.Kind, Differences: o.Differences}, nil
}

// inWords says what a JSON text has in a wrong place, without names of this program.
func inWords(err error) error {
	var wrong *json.UnmarshalTypeError
	if errors.As(err, &wrong) {
		return fmt.Errorf("%s: there stands a %s, which does not belong there", wrong.Field, wrong.Value)
	}
	return err
}

// foundEntry is what is read of an entry of verdicts.json.
type foundEntry struct {
	Claim          string
	Kind           string
	Band           string
	Evidence       *string
	Reach          *string
	AddedAfterSeal bool `json:"added_after_seal"`
	Verdict        string
	Reason         string
	ReasonCode     string       `json:"reason_code"`
	EstimateDB     *float64     `json:"estimate_db"`
	IntervalDB     *[2]*float64 `json:"interval_db"`
	EstimatePoints *float64     `json:"estimate_points"`
	IntervalPoints *[2]*float64 `json:"interval_points"`
	P              *float64     `json:"p"`
	AllRoundDB     *float64     `json:"all_round_db"`
	Blocks         int
	BlocksPlanned  int `json:"blocks_planned"`
	Regions        int
	Stations       int
	Lobe           *struct {
		AmplitudeDB *float64     `json:"amplitude_db"`
		AmplitudeIn *[2]*float64 `json:"amplitude_interval_db"`
	}
	FrontToBack *struct {
		AxisDeg    float64      `json:"axis_deg"`
		EstimateDB *float64     `json:"estimate_db"`
		IntervalDB *[2]*float64 `json:"interval_db"`
	} `json:"front_to_back"`
}

// claimBand is a claim on a band, by their places.
type claimBand struct{ claim, band int64 }

// findingsIn reads verdicts.json with the tables that say which claim and band each entry is of, and what lobe was fitted.
func findingsIn(files handover.Files, exp *experiments.Experiment, planned []schedule.Dwell, s *pooling.Study) error {
	text, err := files.Want(handover.FileVerdicts)
	if err != nil {
		return err
	}
	var doc struct {
		Format           int
		Seal             *string
		SealedBeforeData bool `json:"sealed_before_data"`
		Looks            int
		Claims           []foundEntry
	}
	err = json.Unmarshal(text, &doc)
	switch {
	case doc.Format > verdictsFormat: // what else is wrong may be right there
		return laterVerdicts(float64(doc.Format))
	case err != nil:
		return handover.Fault(handover.FileVerdicts, inWords(err))
	case doc.Format != verdictsFormat:
		return handover.Fault(handover.FileVerdicts, fmt.Errorf("its format is %d, and this version reads %d", doc.Format, verdictsFormat))
	}
	s.SealedBeforeData, s.Looks = doc.SealedBeforeData, doc.Looks
	if doc.Seal != nil && !digestForm.MatchString(*doc.Seal) || doc.Looks < 0 {
		return handover.Fault(handover.FileVerdicts, errors.New("seal is no digest, or looks no number of looks"))
	}
	if doc.Seal != nil {
		s.Seal = *doc.Seal
	}
	places, err := placesIn(files, doc.Claims)
	if err != nil {
		return err
	}
	fits, err := fitsIn(files)
	if err != nil {
		return err
	}
	bands := bandsOf(exp, planned)
	for i, e := range doc.Claims {
		at := places[i]
		if at.claim < 0 || at.claim >= int64(len(exp.Claims)) || at.band < 0 || at.band >= int64(len(bands)) || bands[at.band] != e.Band ||
			exp.Claims[at.claim].Name != e.Claim || exp.Claims[at.claim].Kind != e.Kind || slices.Contains(places[:i], at) {
			return handover.Fault(handover.FileVerdicts, fmt.Errorf("%s, %s is no claim and band of the experiment, or stands there twice", e.Claim, e.Band))
		}
		f := e.finding(exp, exp.Claims[at.claim])
		f.Fits = fits[at]
		if err := f.Check(); err != nil {
			return handover.Fault(handover.FileVerdicts, err)
		}
		s.Findings = append(s.Findings, f)
	}
	return nil
}

// outputOf gives a shared table by its name.
func outputOf(name string) pipeline.Output {
	all := append(givenTables(), judged()...)
	return all[slices.IndexFunc(all, func(o pipeline.Output) bool { return o.Name == name })]
}

// placesIn reads the places of the entries: table verdicts has a row for each, in the same order.
func placesIn(files handover.Files, entries []foundEntry) ([]claimBand, error) {
	rec, err := files.Table(memory.NewGoAllocator(), outputOf("verdicts"))
	if err != nil {
		return nil, err
	}
	defer rec.Release()
	var out []claimBand
	for r := table.NewReader(rec); r.Next(); {
		i := len(out)
		if i >= len(entries) || entries[i].Claim != r.Str("claim") || entries[i].Band != r.Str("band") {
			return nil, handover.Fault(handover.FileVerdicts, fmt.Errorf("table verdicts has other claims"))
		}
		out = append(out, claimBand{r.Int("claim_number"), r.Int("band_number")})
	}
	if len(out) != len(entries) {
		return nil, handover.Fault(handover.FileVerdicts, fmt.Errorf("table verdicts has other claims"))
	}
	return out, nil
}

func fitsIn(files handover.Files) (map[claimBand][]pooling.Fit, error) {
	rec, err := files.Table(memory.NewGoAllocator(), outputOf("fits"))
	if err != nil {
		return nil, err
	}
	defer rec.Release()
	out := map[claimBand][]pooling.Fit{}
	for r := table.NewReader(rec); r.Next(); {
		at := claimBand{r.Int("claim_number"), r.Int("band_number")}
		out[at] = append(out[at], pooling.Fit{Harmonic: int(r.Int("harmonic")), CosDB: r.Float("cos_db"), SinDB: r.Float("sin_db"),
			VarCos: r.Float("var_cos"), VarSin: r.Float("var_sin"), Cov: r.Float("cov")})
	}
	return out, nil
}

// finding translates an entry, with what the experiment says of its claim.
func (e foundEntry) finding(exp *experiments.Experiment, c experiments.Claim) pooling.Finding {
	f := pooling.Finding{
		Question: pooling.Question{Claim: c.Name, Kind: c.Kind, Band: e.Band, Arms: c.Arms, Direction: c.Direction, Shape: c.Shape, WithinKm: c.WithinKm, StepDB: c.StepDB, SWRAtMost: c.SWRAtMost},
		Smallest: exp.SmallestDB, Verdict: e.Verdict, Reason: e.Reason, ReasonCode: e.ReasonCode, AddedAfterSeal: e.AddedAfterSeal,
		Estimate: e.EstimateDB, Interval: e.IntervalDB, Tested: e.P != nil, Blocks: e.Blocks, BlocksPlanned: e.BlocksPlanned, Regions: e.Regions, Stations: e.Stations,
		Depends: e.Kind == "level" && e.AllRoundDB != nil,
	}
	if e.Evidence != nil {
		f.Evidence = *e.Evidence
	}
	if e.Reach != nil {
		f.Reach = *e.Reach
	}
	switch c.Kind {
	case "heard_by":
		f.Smallest, f.Estimate, f.Interval = c.SmallestPoints, e.EstimatePoints, e.IntervalPoints
	case "directivity":
		f.Frame = c.Frame
		f.Estimate, f.Interval = nil, nil
		if e.Lobe != nil {
			f.Estimate, f.Interval = e.Lobe.AmplitudeDB, e.Lobe.AmplitudeIn
		}
		if b := e.FrontToBack; b != nil {
			f.FrontToBack = &pooling.FrontToBack{AxisDeg: b.AxisDeg, Estimate: b.EstimateDB, Interval: b.IntervalDB}
		}
		for i, arm := range c.Arms[:min(len(c.Arms), len(f.Azimuths))] {
			if deg, ok := exp.Number(arm, "slope_azimuth_deg"); ok {
				f.Azimuths[i] = &deg
			}
		}
	}
	return f
}

// receptionsIn digests the receptions, without what differs between two bundles of the same data: the call of who heard them, which is a
// keyed hash, and the number of the block. Where it was heard tells apart the reports of operators who sent at the same time.
func receptionsIn(files handover.Files) ([]uint64, error) {
	where, err := whereabouts(files)
	if err != nil {
		return nil, err
	}
	rec, err := files.Table(memory.NewGoAllocator(), outputOf("receptions"))
	if err != nil {
		return nil, err
	}
	defer rec.Release()
	out := make([]uint64, 0, rec.NumRows())
	for r := table.NewReader(rec); r.Next(); {
		h := fnv.New64a()
		fmt.Fprintf(h, "%q %d %q %q %x %s", r.Str("band"), r.Time("slot").UnixMilli(), r.Str("arm"), r.Str("direction"),
			math.Float64bits(r.Float("snr_db")), where[r.Int("station")])
		out = append(out, h.Sum64())
	}
	slices.Sort(out)
	return out, nil
}

// whereabouts tell by its number in which direction and how far away a station is, to 10 degrees and 100 km: so roughly that another
// locator of the same garden changes little.
func whereabouts(files handover.Files) (map[int64]string, error) {
	rec, err := files.Table(memory.NewGoAllocator(), outputOf("stations"))
	if err != nil {
		return nil, err
	}
	defer rec.Release()
	out := map[int64]string{}
	for r := table.NewReader(rec); r.Next(); {
		if !r.Null("bearing_deg") && !r.Null("distance_km") {
			out[r.Int("number")] = fmt.Sprintf("%.0f %.0f", math.Floor(r.Float("bearing_deg")/10), math.Floor(r.Float("distance_km")/100))
		}
	}
	return out, nil
}
