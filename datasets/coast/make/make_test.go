package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets/coast"
)

// testdata/tiny.json, written by hand: a step is half a degree from -10, -20; a square of two arcs, one of them
// backwards, with a triangle as a hole.
func TestTinyTopology(t *testing.T) {
	data, err := os.ReadFile("testdata/tiny.json")
	require.NoError(t, err)
	rings, err := readLand(data)
	require.NoError(t, err)
	require.Equal(t, [][]coast.Point{
		{{LatDeg: -20, LonDeg: -10}, {LatDeg: -20, LonDeg: 10}, {LatDeg: 0, LonDeg: 10}, {LatDeg: 0, LonDeg: -10}, {LatDeg: -20, LonDeg: -10}},
		{{LatDeg: -15, LonDeg: -5}, {LatDeg: -15, LonDeg: 0}, {LatDeg: -10, LonDeg: 0}, {LatDeg: -15, LonDeg: -5}},
	}, rings)
}

func TestMakeWritesWhatCoastReads(t *testing.T) {
	target := filepath.Join(t.TempDir(), "land.bin")
	require.NoError(t, run([]string{"testdata/tiny.json"}, target))
	data, err := os.ReadFile(target)
	require.NoError(t, err)
	c, err := coast.Read(data)
	require.NoError(t, err)
	require.Len(t, c.Lines(), 2)
	require.True(t, c.OnLand(-18, 5))
	require.False(t, c.OnLand(-14, -1), "the hole")
}

func TestMakeRefuses(t *testing.T) {
	target := filepath.Join(t.TempDir(), "land.bin")
	require.ErrorContains(t, run(nil, target), "name the TopoJSON file")
	require.ErrorContains(t, run([]string{"testdata/none.json"}, target), "reading the land")
	require.ErrorContains(t, run([]string{"make_test.go"}, target), "reading make_test.go: decoding JSON")
	require.ErrorContains(t, run([]string{"testdata/tiny.json"}, filepath.Join(target, "x")), "writing the coastlines")
	require.NoFileExists(t, target)
}

func TestReadLandRefuses(t *testing.T) {
	const head = `{"type":"Topology","transform":{"scale":[1,1],"translate":[0,0]},`
	const arcs = `"arcs":[[[0,0],[1,0],[0,1]],[[1,1],[-1,-1]],[[5,5],[1,1]],[]]}`
	land := func(rings string) string {
		return head + `"objects":{"land":{"geometries":[{"type":"MultiPolygon","arcs":[` + rings + `]}]}},` + arcs
	}
	_, err := readLand([]byte(land("[[0,1]]")))
	require.NoError(t, err)
	for _, c := range []struct{ name, text, want string }{
		{"not TopoJSON", `{"type":"FeatureCollection"}`, "no TopoJSON file"},
		{"no transform", `{"type":"Topology"}`, "with a transform"},
		{"no land", head + `"objects":{"sea":{}},` + arcs, `no object "land"`},
		{"a line", head + `"objects":{"land":{"geometries":[{"type":"LineString"}]}},` + arcs, "a LineString, not a MultiPolygon"},
		{"an arc that is not there", land("[[0,4]]"), "ring 1: there is no arc 4"},
		{"an arc that is not there, backwards", land("[[0,-6]]"), "ring 1: there is no arc 5"},
		{"an empty arc", land("[[3]]"), "or it is empty"},
		{"a gap", land("[[0,1],[0,2]]"), "ring 2: arc 2 does not begin where the one before it ends"},
		{"open", land("[[0]]"), "ring 1: it is not closed"},
		{"empty", land("[[]]"), "ring 1: it is not closed"},
	} {
		_, err := readLand([]byte(c.text))
		require.ErrorContains(t, err, c.want, c.name)
	}
}

// Every ring that comes out is closed.
func FuzzReadLand(f *testing.F) {
	tiny, err := os.ReadFile("testdata/tiny.json")
	require.NoError(f, err)
	f.Add(tiny)
	f.Add([]byte(`{"type":"Topology","transform":{"scale":[1,1],"translate":[0,0]},"objects":{"land":{}},"arcs":[]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		rings, err := readLand(data)
		if err != nil {
			return
		}
		for _, ring := range rings {
			require.Equal(t, ring[0], ring[len(ring)-1])
		}
	})
}
