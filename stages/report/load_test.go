package report

import (
	"context"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
)

// Each column of the tables goes where it belongs: the rows have no figure twice.
func TestLoadTakesEachColumn(t *testing.T) {
	start := time.Date(2026, 9, 12, 4, 4, 0, 0, time.UTC)
	verdicts, stations, differences := table.NewBuilder(datasets.Verdicts()), table.NewBuilder(datasets.Stations()), table.NewBuilder(datasets.Differences())
	blocks, lobes, paths := table.NewBuilder(datasets.Blocks()), table.NewBuilder(datasets.Lobes()), table.NewBuilder(datasets.Paths())
	sweeps, dwells := table.NewBuilder(datasets.Sweeps()), table.NewBuilder(datasets.Dwells())
	stations.Append(7, "Q1ABC", "LO04hx", "LO04hx", 54.1, 80.2, 77.3, 1778.4, 4.5, "somewhere")
	differences.Append(1, 2, 7, 1.6, 8.7, 9, true)
	blocks.Append(1, 2, 1, 3, -2.8, 0.29, 30)
	low, high := 2.31, 4.32
	lobes.Append(1, 2, 35.0, 3.3, &low, &high)
	paths.Append(inOrder(datasets.Paths(), map[string]any{"session": 1, "band": "20m", "block": 3, "station": 7, "middle": start, "sun_own_deg": 12.4, "sun_midpoint_deg": 25.5, "sun_far_deg": -3.6,
		"distance_class": "1000-2000 km", "e_hops": 1, "e_takeoff_deg": 3.7, "e_more_takeoff_deg": 12.8, "f2_low_hops": 2, "f2_low_takeoff_deg": 13.9, "f2_low_more_takeoff_deg": 31.1,
		"f2_high_hops": 3, "f2_high_takeoff_deg": 19.2, "f2_high_more_takeoff_deg": 39.3, "long_path_km": 38251.4, "long_path_bearing_deg": 257.5, "long_path_plausible": true})...)
	sweeps.Append(inOrder(datasets.Sweeps(), map[string]any{"arm": "high", "sweep": "h.s1p", "plane": "radio", "measured": true, "frequency_mhz": 14.16, "z0_ohm": 75.0, "swr": 1.47,
		"swr_low": 1.46, "swr_high": 1.48, "return_loss_db": 14.4, "mismatch_loss_db": 0.16, "line_loss_db": 0.61, "line": 5})...)
	dwells.Append(1, "20m", 3, 1, "high", 1, start, start.Add(30*time.Second), start.Add(6*time.Minute), 11, false, "dropped: rain", 40.0, true)
	dwells.Append(1, "20m", 3, 2, "low", 1, start.Add(8*time.Minute), start.Add(510*time.Second), start.Add(14*time.Minute), 11, false, "dropped: rain", 0.0, true)
	in := pipeline.NewInput(context.Background(), memory.DefaultAllocator, map[string]arrow.Record{"verdicts": verdicts.Record(), "stations": stations.Record(), "differences": differences.Record(),
		"blocks": blocks.Record(), "lobes": lobes.Record(), "paths": paths.Record(), "sweeps": sweeps.Record(), "dwells": dwells.Record()}, nil)
	defer in.Release()
	got := load(in)
	n := func(v int64) *int64 { return &v }
	require.Equal(t, map[int64]place{7: {7, "Q1ABC", "LO04hx", at(77.3), at(1778.4)}}, got.places)
	require.Equal(t, map[claimBand][]stationDiff{{1, 2}: {{7, 1.6, 8.7, 9, true}}}, got.differences)
	require.Equal(t, map[claimBand][]blockDiff{{1, 2}: {{1, 3, at(-2.8), 0.29, 30}}}, got.blocks)
	require.Equal(t, map[claimBand][]lobePoint{{1, 2}: {{35, 3.3, at(2.31), at(4.32)}}}, got.lobes)
	require.Equal(t, []pathRow{{"20m", 7, 12.4, 25.5, -3.6, "1000-2000 km", at(3.7), at(12.8), at(13.9), at(31.1), at(19.2), at(39.3), n(1), n(2), n(3), true, 38251.4, 257.5}}, got.paths)
	require.Equal(t, []reading{{"high", "h.s1p", "radio", true, 14.16, 75, at(1.47), at(14.4)}}, got.readings)
	require.Equal(t, []scheduled{{1, 3, "20m", false, "dropped: rain", "2026-09-12 04:04Z"}}, got.schedule)

	lost, late := lostBlocks(newReader(in, "dwells"))
	require.Equal(t, []string{"session 1, 20m, block 3: dropped: rain"}, lost)
	require.Equal(t, 1, late, "of two dwells one began 40 s late")
}

// A station of the own square, with 3 and 5 receptions in two cells; another's do not count.
func TestOwnSquareIsCounted(t *testing.T) {
	stations, cells := table.NewBuilder(datasets.Stations()), table.NewBuilder(datasets.Cells())
	stations.Append(0, "Q1FAR", "LO04hx", "LO04hx", 54.1, 80.2, 77.3, 1778.4, 4.5, "somewhere")
	stations.Append(1, "Q1NEAR", "MN83ab", "MN83ab", 43.1, 76.2, 10.0, 30.0, 4.5, "own square")
	cells.Append(1, "20m", 1, "high", "sent", 0, 11, 7, -4.0, -2.0, nil)
	cells.Append(1, "20m", 1, "high", "sent", 1, 11, 3, -4.0, -2.0, nil)
	cells.Append(1, "20m", 1, "low", "sent", 1, 11, 5, -4.0, -2.0, nil)
	in := pipeline.NewInput(context.Background(), memory.DefaultAllocator, map[string]arrow.Record{"stations": stations.Record(), "cells": cells.Record()}, nil)
	defer in.Release()
	require.Contains(t, ownSquare(in), "1 station stands in the square of this one, with 8 of the rows used.")
}

// The rows of verdicts.json are those of the intake, each under its name.
func TestRowsOfTheDocument(t *testing.T) {
	w := newWorld(2)
	w.intake = account.Intake{Read: 971, Used: 431, Merged: 153, OutOfScope: 384, Quarantined: 3}
	w.params.Looks = 5
	in := w.input(t)
	defer in.Release()
	doc, _, err := w.params.document(in)
	require.NoError(t, err)
	require.Equal(t, Rows{Read: 971, Used: 431, Merged: 153, OutOfScope: 384, Quarantined: 3}, doc.Rows)
	require.Equal(t, 5, doc.Looks)
}

// Eight sectors of 45 degrees from north, their lower edges within; who has no sure bearing is in none.
func TestStationsOfEachSector(t *testing.T) {
	c := &comparison{}
	for _, bearing := range []float64{0, 44.9, 45, 100, 224.9, 225, 359.9} {
		c.stations = append(c.stations, placed{bearing: bearing, stationDiff: stationDiff{inLobe: true}})
	}
	c.stations = append(c.stations, placed{bearing: 300})
	require.Equal(t, []int{2, 1, 1, 0, 1, 1, 0, 1}, c.sectorCounts())
	require.Equal(t, 1, c.vague())
}
