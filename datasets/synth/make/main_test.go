package main

import (
	"bytes"
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const top = "../../.."

// TestCommittedDataAreWhatTheSourcesMake compares byte by byte; gzipped files are compared unpacked, since
// another release of the compressor may pack the same bytes differently.
func TestCommittedDataAreWhatTheSourcesMake(t *testing.T) {
	files, _, err := build(top)
	require.NoError(t, err)
	require.Len(t, files, committed(t))
	for _, f := range files {
		have, err := os.ReadFile(filepath.Join(top, filepath.FromSlash(f.Name)))
		require.NoError(t, err)
		want := f.Data
		if strings.HasSuffix(f.Name, ".gz") {
			have, want = unpacked(t, have), unpacked(t, want)
		}
		require.True(t, bytes.Equal(want, have), "%s is not what the generator makes: run go run ./datasets/synth/make", f.Name)
	}
}

// committed counts the data files that are there, the README left out.
func committed(t *testing.T) int {
	var names []string
	for _, pattern := range []string{"spots/*", "sweeps/*", "log/*"} {
		found, err := filepath.Glob(filepath.Join(top, "datasets", "ridge-wire", pattern))
		require.NoError(t, err)
		names = append(names, found...)
	}
	return len(names)
}

func unpacked(t *testing.T, data []byte) []byte {
	zip, err := gzip.NewReader(bytes.NewReader(data))
	require.NoError(t, err)
	require.True(t, zip.ModTime.IsZero())
	require.Empty(t, zip.Name)
	text, err := io.ReadAll(zip)
	require.NoError(t, err)
	return text
}

func TestBuildingTwiceGivesTheSameBytes(t *testing.T) {
	first, firstSeal, err := build(top)
	require.NoError(t, err)
	second, secondSeal, err := build(top)
	require.NoError(t, err)
	require.Equal(t, first, second)
	require.Equal(t, firstSeal, secondSeal)
}

func TestRunWritesWhatBuildMakes(t *testing.T) {
	copyTop := t.TempDir()
	text, err := os.ReadFile(filepath.Join(top, "experiments", "ridge-wire.toml"))
	require.NoError(t, err)
	require.NoError(t, write(filepath.Join(copyTop, "experiments", "ridge-wire.toml"), text))
	require.NoError(t, os.MkdirAll(filepath.Join(copyTop, "datasets", "ridge-wire"), 0o755))
	require.NoError(t, run(copyTop))
	files, _, err := build(top)
	require.NoError(t, err)
	for _, f := range files {
		have, err := os.ReadFile(filepath.Join(copyTop, filepath.FromSlash(f.Name)))
		require.NoError(t, err)
		require.Equal(t, f.Data, have, f.Name)
	}
	want, err := os.ReadFile(filepath.Join(top, "experiments", "ridge-wire.seal.json"))
	require.NoError(t, err)
	have, err := os.ReadFile(filepath.Join(copyTop, "experiments", "ridge-wire.seal.json"))
	require.NoError(t, err)
	require.Equal(t, string(want), string(have), "the committed seal is not that of the experiment")
}

func TestRunTellsOfAMissingExperiment(t *testing.T) {
	require.ErrorContains(t, run(t.TempDir()), "loading the experiment")
}
