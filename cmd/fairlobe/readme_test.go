package main

import (
	"bytes"
	"flag"
	"fmt"
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

	requireShown(t, path, string(readme), 0, out.String())
}

// requireShown holds the first output that the README shows behind a place against what came out.
func requireShown(t *testing.T, path, readme string, behind int, came string) {
	t.Helper()
	const open, closing = "```text\n", "```\n"
	from := behind + strings.Index(readme[behind:], open) + len(open)
	to := from + strings.Index(readme[from:], closing)
	if *updateReadme {
		require.NoError(t, os.WriteFile(path, []byte(readme[:from]+came+readme[to:]), 0o644))
		return
	}
	require.Equal(t, came, readme[from:to])
}

// The pool that README.md shows is that of its commands: four demos shared under four keys, in fixed ones here, and the
// bundles put together.
func TestReadmePoolsTheDemos(t *testing.T) {
	if testing.Short() {
		t.Skip("four demos are shared; other tests share and pool less")
	}
	path, err := filepath.Abs("../../README.md")
	require.NoError(t, err)
	readme := read(t, path)
	wires := []string{"ridge", "plain", "hill", "mesa"}
	pooled := "fairlobe pool " + strings.Join(wires, "-wire.zip ") + "-wire.zip"
	shown := strings.Index(readme, "$ fairlobe new --demo demo && cd demo/experiments\n$ for wire in "+strings.Join(wires, " ")+`; do
>   openssl rand -hex 32 > $wire.key
>   fairlobe share $wire-wire.toml --key $wire.key --licence CC0-1.0
> done
$ `+pooled+"\n")
	require.Positive(t, shown)

	t.Chdir(t.TempDir())
	fairlobe := func(line string) string {
		var out, errOut bytes.Buffer
		require.Equal(t, statusDone, run(strings.Fields(line)[1:], nil, &out, &errOut), "%s: %s", line, errOut.String())
		return out.String()
	}
	fairlobe("fairlobe new --demo demo")
	t.Chdir("demo/experiments")
	for i, wire := range wires {
		require.NoError(t, os.WriteFile(wire+".key", []byte(strings.Repeat(fmt.Sprintf("%02x", i+1), 32)+"\n"), 0o600))
		fairlobe("fairlobe share " + wire + "-wire.toml --key " + wire + ".key --licence CC0-1.0")
	}
	requireShown(t, path, readme, shown, fairlobe(pooled))
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
