// Package judge finds, for each claim on each band, what the data bear out.
//
// It reads receptions, stations, dwells and sweeps, and knows arms only by name: it opens no file and knows
// nothing of antennas. The statistics are in package contrast; here are the rules that turn numbers into
// verdicts: evidence, refusals, unfinished and open trials, the correction for many claims, reach, and the
// sentences.
//
// Beside the verdicts it makes the tables of what pictures show: the differences block by block and station by station,
// and the fitted lobes. They stand for every claim that compares two arms, whatever became of it. Table fits is for
// whoever puts trials together.
//
// Two kinds of claim have models of their own: heard_by compares shares of stations (heardby.go), and reciprocity what is
// sent with what is received (reciprocity.go), which is no comparison of arms.
//
// A comparison is always calculated as the arm that stands first in the experiment file minus the other, and turned
// round at the end if the claim asks for it the other way. So exchanging the two arms of a claim changes the signs
// of estimates and nothing else, to the last bit.
package judge

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
)

// Names of the stage's outputs.
const (
	TableVerdicts    = "verdicts"
	TableBlocks      = "blocks"
	TableDifferences = "differences"
	TableLobes       = "lobes"
	TableFits        = "fits"
)

// Claim is one sentence to be judged, with plain values.
type Claim struct {
	Name      string
	Kind      string
	Arms      []string // for a comparison: first minus second
	Direction string
	WithinKm  *[2]float64
	Bands     []string
	Added     bool // after the seal
	Shape     string
	TowardDeg *float64
	Predicted bool // the axis is to be predicted
	StepDB    *float64
	// SmallestPoints is the smallest difference of shares that matters to a heard_by claim, percentage points.
	SmallestPoints float64
	SWRAtMost      float64
	FromMHz        *float64
	ToMHz          *float64
}

// Band is a band of the schedule with its edges.
type Band struct {
	Name           string
	FromMHz, ToMHz float64
	Planned        int // blocks, over all sessions
}

// SealState tells what became of the seal.
type SealState string

// What the seal says of the experiment as it stands now.
const (
	SealNone    SealState = "none"    // there is no seal
	SealSame    SealState = "same"    // it is what was sealed
	SealChanged SealState = "changed" // something other than the order was changed since
	SealOrder   SealState = "order"   // the order of the arms is not the one that was sealed
)

// Params are the stage's parameters.
type Params struct {
	Claims []Claim
	Bands  []Band
	Arms   []string // in the order of the experiment file
	// ArmPowersW are the declared powers of the arms, in their order; 0 where none is declared.
	ArmPowersW []float64
	SmallestDB float64
	CutDB      float64
	Seed       uint64
	Stopping   string // "fixed" or "open"
	Seal       SealState
	SealedMs   int64 // Unix time of the seal in ms; 0 without one
	// OrderFile is set when the order comes from a file; OrderRandom when it is declared to be random.
	OrderFile   bool
	OrderRandom bool
	SharedCoin  bool // one draw serves all bands
	// SpotIntervalMs is how often reports are passed on; 0 for every decode.
	SpotIntervalMs int64
	SlotMs         int64
	Control        bool // a station is named that sends in the same slots
	// Tuner: a tuner stands behind the radio, so what a mismatch costs is not known. OneFeedline: all arms have one.
	Tuner, OneFeedline bool
	// LinesDeclared are the arms whose feedline's length and loss are declared.
	LinesDeclared []string
}

// Stage makes the stage.
func Stage(p Params) pipeline.Stage {
	return pipeline.Stage{
		Name: "judge", Version: 10, Params: p,
		Needs: []string{"dwells", "trial.json", "stations", "receptions", "late_receptions", "control_receptions", "listening", "sweeps", "intake.json"},
		Makes: []pipeline.Output{
			{Name: TableVerdicts, Schema: datasets.Verdicts()}, {Name: TableBlocks, Schema: datasets.Blocks()},
			{Name: TableDifferences, Schema: datasets.Differences()}, {Name: TableLobes, Schema: datasets.Lobes()},
			{Name: TableFits, Schema: datasets.Fits()},
		},
		Run: func(ctx context.Context, in *pipeline.Input) (*pipeline.Result, error) {
			d, err := p.load(in)
			if err != nil {
				return nil, err
			}
			entries, err := p.judge(ctx, d)
			if err != nil {
				return nil, err
			}
			rec, err := encode(entries)
			if err != nil {
				return nil, err
			}
			return &pipeline.Result{Tables: map[string]arrow.Record{
				TableVerdicts: rec, TableBlocks: p.blockTable(entries), TableDifferences: p.differenceTable(d, entries), TableLobes: lobeTable(entries), TableFits: fitTable(entries),
			}}, nil
		},
	}
}

func encode(entries []*Entry) (arrow.Record, error) {
	b := table.NewBuilder(datasets.Verdicts())
	for _, e := range entries {
		detail, err := json.Marshal(e)
		if err != nil {
			return nil, fmt.Errorf("writing the verdict on %s, %s: %w", e.Claim, e.Band, err)
		}
		var low, high *float64
		if e.IntervalDB != nil {
			low, high = e.IntervalDB[0], e.IntervalDB[1]
		}
		b.Append(e.claimNumber, e.bandNumber, e.Claim, e.Kind, e.Band, e.Verdict, e.Reach, e.ReasonCode,
			e.EstimateDB, low, high, e.P, e.PAdjusted, e.Stations, e.Receptions, string(detail))
	}
	return b.Record(), nil
}
