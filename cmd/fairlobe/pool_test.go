package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/diag"
	"fairlobe/stages"
	"fairlobe/stages/handover"
	"fairlobe/stages/pooling"
	"fairlobe/stages/report"
)

func TestPoolTakesNoMoreThanAThousandBundles(t *testing.T) {
	var out, errOut bytes.Buffer
	args := append([]string{"pool"}, slices.Repeat([]string{"a.zip"}, 1001)...)
	require.Equal(t, statusUsage, run(args, strings.NewReader(""), &out, &errOut))
	require.Equal(t, "fairlobe: pool takes at most 1000 bundles, 1001 were given\n    mend: see fairlobe help pool\n", errOut.String())
	require.Empty(t, out.String())
}

// heldBundle is a bundle in memory.
type heldBundle struct {
	identity string
	files    map[string][]byte
	info     string
}

func (b heldBundle) Name() string       { return "ridge-wire" }
func (b heldBundle) Identity() string   { return b.identity }
func (b heldBundle) Info(string) string { return b.info }
func (b heldBundle) File(name string) ([]byte, bool) {
	data, ok := b.files[name]
	return data, ok
}

func holdBundle(t testing.TB, b madeBundle, operator string) heldBundle {
	t.Helper()
	payload, err := b.payload()
	require.NoError(t, err)
	held := heldBundle{identity: "sha256:" + strings.Repeat(operator, 64), info: strings.Repeat(operator, 16), files: map[string][]byte{}}
	for _, f := range payload {
		held.files[f.Name] = f.Data
	}
	return held
}

func TestStudiesOfBundles(t *testing.T) {
	made := madeBundle{square: "MN83", level: "2.1:0.6", lobe: "1:300:0.4", azimuth: "300", blocks: "16", receptions: "1", sealed: "true", frame: "wire", origin: "varied"}
	s, err := stages.StudyIn(holdBundle(t, made, "a"), "there/a.zip")
	require.NoError(t, err)
	require.Equal(t, "there/a.zip", s.File)
	require.Equal(t, "MN83", s.Square)
	require.Equal(t, pooling.Varied, s.Origin.Kind)
	require.True(t, s.SealedBeforeData)
	require.Len(t, s.Receptions, 10)
	require.True(t, slices.IsSorted(s.Receptions))
	require.Len(t, s.Findings, 3)
	level, lobe := s.Findings[0], s.Findings[1]
	require.Equal(t, pooling.Question{Claim: "lift helps", Kind: "level", Band: "20m", Arms: []string{"high", "low"}, Direction: "sent"}, level.Question)
	require.InDelta(t, 2.1, *level.Estimate, 0)
	require.InDelta(t, 1.5, level.Smallest, 0)
	require.Equal(t, 16, level.Blocks)
	require.Equal(t, "wire", lobe.Frame)
	require.InDelta(t, 300, *lobe.Azimuths[0], 0)
	require.InDelta(t, 0.5, lobe.Fits[0].CosDB, 1e-9)
	require.InDelta(t, 0.16, lobe.Fits[0].VarSin, 1e-9)

	bad := holdBundle(t, made, "a")
	bad.info = "nobody"
	_, err = stages.StudyIn(bad, "a.zip")
	require.ErrorContains(t, err, "a.zip/bag-info.txt: Fairlobe-Operator is no operator's number")

	twice := holdBundle(t, made, "a")
	twice.files[handover.FileExperiment] = bytes.Replace(twice.files[handover.FileExperiment], []byte(`name = "low"`), []byte(`name = "high"`), 1)
	_, err = stages.StudyIn(twice, "a.zip")
	var list diag.List
	require.ErrorAs(t, err, &list)
	require.Equal(t, "a.zip/data/experiment.toml", list[0].Pos.File)
	require.NotEmpty(t, list[0].Related)
	require.Equal(t, "a.zip/data/experiment.toml", list[0].Related[0].File)
}

// FuzzStudy puts any verdicts.json and origin.json into a bundle: it is refused with a finding, or pooled into documents.
func FuzzStudy(f *testing.F) {
	made := madeBundle{square: "MN83", level: "2.1:0.6", lobe: "1:300:0.4", azimuth: "300", blocks: "16", receptions: "1", sealed: "true", frame: "wire", origin: "direct"}
	first := holdBundle(f, made, "a")
	made.receptions = "2"
	second := holdBundle(f, made, "b")
	other, err := stages.StudyIn(second, "b.zip")
	require.NoError(f, err)
	schema, err := jsonschema.NewCompiler().Compile("../../datasets/pooled.schema.json")
	require.NoError(f, err)
	verdicts, origin := first.files[handover.FileVerdicts], first.files[handover.FileOrigin]
	f.Add(verdicts, origin)
	for _, change := range [][2]string{{`"blocks":16`, `"blocks":1`}, {`2.1`, `1e308`}, {`null`, `"x"`}, {`"randomised"`, `null`}, {`[1.5,2.7]`, `[2.7,null]`}, {`"format":1`, `"format":1e0`}} {
		f.Add(bytes.ReplaceAll(verdicts, []byte(change[0]), []byte(change[1])), origin)
	}
	f.Add([]byte(`{"format":1,"claims":[]}`), []byte(`{"kind":"varied","differences":null}`))
	f.Fuzz(func(t *testing.T, verdicts, origin []byte) {
		b := heldBundle{identity: first.identity, info: first.info, files: map[string][]byte{}}
		for name, data := range first.files {
			b.files[name] = data
		}
		b.files[handover.FileVerdicts], b.files[handover.FileOrigin] = verdicts, origin
		s, err := stages.StudyIn(b, "a.zip")
		var list diag.List
		if err == nil {
			var doc *pooling.Document
			if doc, err = pooling.Pool([]pooling.Study{*s, *other}, pooling.Options{}); err == nil {
				text, err := json.Marshal(doc)
				require.NoError(t, err)
				value, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
				require.NoError(t, err)
				require.NoError(t, schema.Validate(value))
				_, err = report.PooledPage(doc, "fairlobe pool")
				require.NoError(t, err)
				report.PooledText(doc, "fairlobe pool")
				return
			}
		}
		require.True(t, errors.As(err, &list), "%v", err)
	})
}
