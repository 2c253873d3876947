package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// anyBundle shares the demo's design.
func anyBundle(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	key, path := filepath.Join(dir, "key.txt"), filepath.Join(dir, "design.zip")
	require.NoError(t, os.WriteFile(key, bytes.Repeat([]byte("07"), 32), 0o600))
	var out, errOut bytes.Buffer
	require.Equal(t, statusDone, run([]string{"share", "--design-only", "--key", key, "--to", path, "../../experiments/ridge-wire.toml"}, nil, &out, &errOut), errOut.String())
	return path
}

// Interrupted, it leaves nothing behind, and says so.
func TestReceiveInterrupted(t *testing.T) {
	path, dir := anyBundle(t), t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var out, errOut bytes.Buffer
	err := receive(ctx, path, filepath.Join(dir, "mine"), receiveOptions{seed: noSeed}, streams{nil, &screen{out: &out}, &errOut})
	require.Equal(t, statusInterrupted, status(err, receiveCommand(streams{}), &errOut))
	require.Equal(t, "fairlobe: interrupted; nothing was written\n", errOut.String())
	require.Empty(t, out.String())
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Empty(t, left)
}

// Two repeats of one bundle have orders of their own, on a day to come at the original's hour.
func TestReceiveDrawsSeeds(t *testing.T) {
	path, dir := anyBundle(t), t.TempDir()
	seeds := map[uint64]bool{4012558071: true} // the original's
	for _, name := range []string{"one", "two"} {
		before := time.Now()
		var out, errOut bytes.Buffer
		require.Equal(t, statusDone, run([]string{"receive", path, filepath.Join(dir, name)}, nil, &out, &errOut), errOut.String())
		o, err := open(filepath.Join(dir, name, "ridge-wire.toml"))
		require.NoError(t, err)
		seeds[o.exp.Seed] = true
		require.Equal(t, "04:00", o.planned[0].Start.Format("15:04"))
		require.Greater(t, o.planned[0].Start.Format(time.DateOnly), before.UTC().Format(time.DateOnly))
	}
	require.Len(t, seeds, 3)
}
