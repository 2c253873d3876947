package main

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var updateReadme = flag.Bool("update-readme", false, "write the demo's output into README.md")

// The output that README.md shows is that of the command it shows, run on the tree as it stands.
func TestReadmeShowsTheTrueOutput(t *testing.T) {
	path, err := filepath.Abs("../../README.md")
	require.NoError(t, err)
	readme, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Contains(t, string(readme), "```console\n$ go run ./cmd/fairlobe run experiments/ridge-wire.toml\n$ go test ./...\n```")

	dir := t.TempDir()
	for _, part := range []string{"experiments/ridge-wire.toml", "experiments/ridge-wire.seal.json", "datasets/ridge-wire"} {
		copyPath(t, filepath.Join("../..", part), filepath.Join(dir, part))
	}
	t.Chdir(dir)
	var out, errOut bytes.Buffer
	require.Equal(t, statusDone, run([]string{"run", "experiments/ridge-wire.toml"}, nil, &out, &errOut), errOut.String())

	const open, closing = "```text\n", "```\n"
	from := strings.Index(string(readme), open) + len(open)
	to := from + strings.Index(string(readme)[from:], closing)
	if *updateReadme {
		text := string(readme[:from]) + out.String() + string(readme[to:])
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		return
	}
	require.Equal(t, out.String(), string(readme[from:to]))
}

// The small experiment file of README.md can be checked and sealed as it stands, before there are any data.
func TestReadmeExperimentIsGood(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	_, text, ok := strings.Cut(string(readme), "```toml\n")
	require.True(t, ok)
	text, _, ok = strings.Cut(text, "```\n")
	require.True(t, ok)
	dir := t.TempDir()
	t.Chdir(dir)
	require.NoError(t, os.WriteFile("loop.toml", []byte(text), 0o644))
	var out, errOut bytes.Buffer
	require.Equal(t, statusDone, run([]string{"check", "loop.toml"}, nil, &out, &errOut), errOut.String())
	require.Contains(t, out.String(), "loop.toml: no faults")
	require.Equal(t, statusDone, run([]string{"design", "--seal", "loop.toml"}, nil, &out, &errOut), errOut.String())
	require.Equal(t, statusDone, run([]string{"run", "loop.toml"}, nil, &out, &errOut), errOut.String())
	require.Contains(t, out.String(), "no reports yet")
}

func copyPath(t *testing.T, from, to string) {
	info, err := os.Stat(from)
	require.NoError(t, err)
	if info.IsDir() {
		require.NoError(t, os.CopyFS(to, os.DirFS(from)))
		return
	}
	data, err := os.ReadFile(from)
	require.NoError(t, err)
	require.NoError(t, os.MkdirAll(filepath.Dir(to), 0o755))
	require.NoError(t, os.WriteFile(to, data, 0o644))
}
