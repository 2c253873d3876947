package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/rogpeppe/go-internal/testscript"

	"fairlobe/datasets"
	"fairlobe/experiments"
	"fairlobe/pipeline/bag"
	"fairlobe/pipeline/table"
	"fairlobe/stages"
	"fairlobe/stages/handover"
	"fairlobe/stages/schedule"
)

// madeBundleFile writes a small bundle of the demo's experiment with findings that are made up, for pool: madebundle a.zip operator=1 square=MN83
// level=2.1:0.6 lobe=1.5:300:0.4 ... Level is estimate and half of its interval, lobe amplitude, azimuth and standard error, on 20m both.
// What is not said is as in the default.
func madeBundleFile(ts *testscript.TestScript, _ bool, args []string) {
	b := madeBundle{name: "ridge-wire", operator: "1", square: "MN83", level: "2.1:0.6", lobe: "1:300:0.4", azimuth: "300", blocks: "16", receptions: "1", far: "1000", sealed: "true", frame: "wire"}
	fields := map[string]*string{"name": &b.name, "operator": &b.operator, "square": &b.square, "level": &b.level, "lobe": &b.lobe, "azimuth": &b.azimuth, "blocks": &b.blocks,
		"receptions": &b.receptions, "far": &b.far, "sealed": &b.sealed, "origin": &b.origin, "claim": &b.claim, "frame": &b.frame, "without": &b.without, "verdict": &b.verdict, "was": &b.was, "now": &b.now}
	for _, arg := range args[1:] {
		key, value, _ := strings.Cut(arg, "=")
		if fields[key] == nil {
			ts.Fatalf("madebundle knows no %s", key)
		}
		*fields[key] = value
	}
	zip, err := b.zip()
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), zip, 0o644))
}

type madeBundle struct {
	name, operator, square, level, lobe, azimuth, blocks, receptions, far, sealed string

	origin  string // kind of repeat
	claim   string // name of the level's claim
	frame   string // of the lobe: wire, north, or "" for none
	without string // a file that is left out
	verdict string // of the level
	was     string // text of verdicts.json that is replaced
	now     string
}

func (b madeBundle) zip() ([]byte, error) {
	payload, err := b.payload()
	if err != nil {
		return nil, err
	}
	operator, err := strconv.ParseUint(b.operator, 16, 64)
	if err != nil {
		return nil, err
	}
	payload = slices.DeleteFunc(payload, func(f bag.File) bool { return f.Name == b.without })
	var out bytes.Buffer
	_, err = bag.Pack(&out, b.name, payload, []bag.Field{{Label: stages.OperatorLabel, Value: fmt.Sprintf("%016x", operator)}})
	return out.Bytes(), err
}

func (b madeBundle) payload() ([]bag.File, error) {
	text, err := os.ReadFile("../../experiments/ridge-wire.toml")
	if err != nil {
		return nil, err
	}
	changed := strings.ReplaceAll(string(text), "slope_azimuth_deg = 300", "slope_azimuth_deg = "+b.azimuth)
	changed = strings.ReplaceAll(changed, "MN83kp", b.square+"kp")
	changed = strings.ReplaceAll(changed, `bands = ["20m", "10m"]`, `bands = ["20m"]`)
	if b.claim != "" {
		changed = strings.ReplaceAll(changed, "lift helps", b.claim)
	}
	if b.frame != "" {
		changed = strings.Replace(changed, "toward_deg = 300 ", fmt.Sprintf("frame = %q\ntoward_deg = 300 ", b.frame), 1)
	}
	exp, list := experiments.Parse("ridge-wire.toml", []byte(changed), os.ReadFile)
	if err := list.Err(); err != nil {
		return nil, err
	}
	private, err := exp.Private()
	if err != nil {
		return nil, err
	}
	planned, err := stages.Schedule(exp)
	if err != nil {
		return nil, err
	}
	var plan bytes.Buffer
	if err := schedule.WriteCSV(&plan, planned); err != nil {
		return nil, err
	}
	verdicts, tables, err := b.found(exp)
	if err != nil {
		return nil, err
	}
	payload := []bag.File{{Name: handover.FileExperiment, Data: private}, {Name: handover.FileSchedule, Data: plan.Bytes()}, {Name: handover.FileVerdicts, Data: verdicts}}
	for name, rec := range tables {
		data, err := table.Encode(rec)
		if err != nil {
			return nil, err
		}
		payload = append(payload, bag.File{Name: handover.Parquet(name), Data: data})
	}
	if b.origin != "" {
		payload = append(payload, bag.File{Name: handover.FileOrigin, Data: fmt.Appendf(nil, `{"format":1,"identity":"sha256:%064d","title":"Ridge wire: feedpoint at 4.5 m against 9 m","content":{},"kind":%q,"differences":["power_w: 4 there, 10 here"]}`, 1, b.origin)})
	}
	return payload, nil
}

// numbers reads numbers with colons between.
func numbers(text string) (out [3]float64) {
	for i, part := range strings.Split(text, ":") {
		out[i], _ = strconv.ParseFloat(part, 64)
	}
	return out
}

func (b madeBundle) found(exp *experiments.Experiment) (verdicts []byte, tables map[string]arrow.Record, err error) {
	level, lobe := numbers(b.level), numbers(b.lobe)
	blocks, err := strconv.Atoi(b.blocks)
	if err != nil {
		return nil, nil, err
	}
	common := func(claim experiments.Claim, verdict string) map[string]any {
		return map[string]any{"claim": claim.Name, "kind": claim.Kind, "band": "20m", "evidence": "randomised", "verdict": verdict, "reach": "these receivers", "reason": "the data allow much",
			"reason_code": strings.ReplaceAll(verdict, " ", "_"), "smallest_difference_db": 1.5, "p": 0.04, "blocks": blocks, "blocks_planned": 16, "regions": 12, "stations": 40}
	}
	verdict := b.verdict
	if verdict == "" {
		verdict = "undecided"
	}
	var claims []map[string]any
	rows, fits := table.NewBuilder(datasets.Verdicts()), table.NewBuilder(datasets.Fits())
	for i, claim := range exp.Claims {
		e := common(claim, verdict)
		switch claim.Kind {
		case "level":
			e["estimate_db"], e["interval_db"] = level[0], []float64{level[0] - level[1], level[0] + level[1]}
		case "directivity":
			e["verdict"] = "undecided"
			e["lobe"] = map[string]any{"amplitude_db": lobe[0], "amplitude_interval_db": []float64{0, lobe[0] + 3*lobe[2]}}
			sin, cos := math.Sincos(lobe[1] * math.Pi / 180)
			sin, cos = lobe[0]*sin, lobe[0]*cos
			fits.Append(i, 0, 1, cos, sin, lobe[2]*lobe[2], lobe[2]*lobe[2], 0.0)
		default:
			e["verdict"], e["evidence"], e["p"] = "holds", nil, nil
		}
		claims = append(claims, e)
		rows.Append(i, 0, claim.Name, claim.Kind, "20m", e["verdict"], nil, "undecided", nil, nil, nil, nil, nil, 40, 100, "{}")
	}
	verdicts, err = json.Marshal(map[string]any{"format": 1, "seal": "sha256:" + strings.Repeat("0f", 32), "sealed_before_data": b.sealed == "true", "looks": 1, "claims": claims})
	if err != nil {
		return nil, nil, err
	}
	if b.was != "" {
		if !bytes.Contains(verdicts, []byte(b.was)) {
			return nil, nil, fmt.Errorf("verdicts.json has no %s", b.was)
		}
		verdicts = bytes.ReplaceAll(verdicts, []byte(b.was), []byte(b.now))
	}
	heard := table.NewBuilder(datasets.Receptions())
	first := numbers(b.receptions)[0] // receptions of two bundles are the same where these numbers are the same
	for block := range 10 {
		at := time.UnixMilli(int64(1e12) + int64(first*1e9) + int64(block)*15000).UTC()
		heard.Append(1, "20m", block+1, "high", "sent", 0, at, -float64(block), 0.1, nil)
	}
	stations := table.NewBuilder(datasets.Stations())
	stations.Append(0, "hash of "+b.operator, "", nil, nil, nil, 45.0, numbers(b.far)[0], 5.0, "unknown")
	return verdicts, map[string]arrow.Record{"verdicts": rows.Record(), "fits": fits.Record(), "receptions": heard.Record(), "stations": stations.Record()}, nil
}
