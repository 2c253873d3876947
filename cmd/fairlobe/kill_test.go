package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/manifest"
	"fairlobe/pipeline/store"
)

const (
	leastKills   = 50
	leastInWrite = 10
	mostKills    = 400
)

// A kill at any moment loses nothing: whatever a SIGKILL leaves behind, the next run ends in the bytes of a run that
// nobody disturbed, and it is still the first look. The moments are drawn from a seed between the start and the end of
// an undisturbed run; where a kill left a temporary file behind, it fell inside a write. Kills go on until there are
// enough of both. Further moments are drawn around those that fell inside a write.
func TestKilledRunsEndInTheSameBytes(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	k := newKiller(t)
	r := rand.New(rand.NewPCG(1, 2))
	kills, inWrite, misses := 0, 0, 0
	var hits []time.Duration
	for kills < leastKills || inWrite < leastInWrite {
		require.Less(t, kills+misses, mostKills, "%d of %d kills fell inside a write", inWrite, kills)
		moment := time.Duration(r.Float64() * float64(k.whole))
		if kills >= leastKills/2 && len(hits) > 0 {
			around := hits[r.IntN(len(hits))]
			moment = around + time.Duration((r.Float64()-0.5)*0.05*float64(k.whole))
		}
		k.fresh()
		if !k.kill(moment) {
			misses++ // it had ended before
			continue
		}
		kills++
		if left := k.leftovers(); len(left) > 0 {
			inWrite++
			hits = append(hits, moment)
		}
		k.finish(fmt.Sprintf("killed after %v", moment))
	}
	t.Logf("%d kills, %d of them inside a write, %d runs ended before their kill; an undisturbed run took %v", kills, inWrite, misses, k.whole)
}

// killer holds a program, an experiment with its data, and what an undisturbed run makes of it.
type killer struct {
	t          *testing.T
	program    string
	dir        string
	experiment string
	whole      time.Duration
	want       map[string]string // the outputs by name
}

func newKiller(t *testing.T) *killer {
	dir := t.TempDir()
	k := &killer{t: t, program: filepath.Join(dir, "fairlobe"), dir: dir, experiment: filepath.Join(dir, "experiments", "ridge-wire.toml")}
	out, err := exec.Command("go", "build", "-o", k.program, ".").CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.NoError(t, writeDemo(filepath.Join(dir, "demo"), streams{nil, &screen{out: &strings.Builder{}}, &strings.Builder{}}))
	for _, part := range []string{"experiments", "datasets"} {
		require.NoError(t, os.Rename(filepath.Join(dir, "demo", part), filepath.Join(dir, part)))
	}
	k.shorten()
	k.run("a first run warms the disk's cache")
	k.fresh()
	start := time.Now()
	k.run("undisturbed")
	k.whole = time.Since(start)
	k.want = k.outputs()
	require.Contains(t, k.want, "verdicts.json")
	require.Contains(t, k.want["verdicts.json"], `"looks": 1,`)
	require.Contains(t, k.want, "tables/receptions.parquet")
	require.Empty(t, k.leftovers(), "an undisturbed run leaves nothing behind")
	return k
}

// shorten leaves the first session and one claim on one band, so that many runs take little time.
func (k *killer) shorten() {
	k.change(k.experiment, `(?s)\[\[claim\]\]\nname = "lift favours.*# The operator's`, "# The operator's")
	k.change(k.experiment, `(?m)^direction = "sent" `, "bands = [\"20m\"]\ndirection = \"sent\" ")
	k.change(k.experiment, `(?m)^  \{ start = 2026-09-13.*\n`, "")
	k.change(k.experiment, `(?m)^blocks = 16 `, "blocks = 8 ")
	k.change(filepath.Join(k.dir, "datasets", "ridge-wire", "log", "switches.csv"), `(?m)^2026-09-13.*\n`, "")
	require.NoError(k.t, os.Remove(filepath.Join(k.dir, "experiments", "ridge-wire.seal.json")))
	require.NoError(k.t, os.Remove(filepath.Join(k.dir, "datasets", "ridge-wire", "spots", "reports-2.csv.gz")))
}

func (k *killer) change(path, pattern, with string) {
	text, err := os.ReadFile(path)
	require.NoError(k.t, err)
	old := regexp.MustCompile(pattern)
	require.True(k.t, old.Match(text), "%s: nothing is like %s", path, pattern)
	require.NoError(k.t, os.WriteFile(path, old.ReplaceAll(text, []byte(with)), 0o644))
}

func (k *killer) out() string   { return filepath.Join(k.dir, "experiments", "ridge-wire.out") }
func (k *killer) looks() string { return filepath.Join(k.dir, "experiments", "ridge-wire.looks.csv") }

// fresh takes away all that runs have made.
func (k *killer) fresh() {
	require.NoError(k.t, os.RemoveAll(k.out()))
	if err := os.Remove(k.looks()); err != nil {
		require.ErrorIs(k.t, err, os.ErrNotExist)
	}
}

func (k *killer) run(when string) {
	out, err := exec.Command(k.program, "run", k.experiment).CombinedOutput()
	require.NoError(k.t, err, "%s: %s", when, out)
}

// kill starts a run and kills it after the time; it tells whether the run was still going.
func (k *killer) kill(after time.Duration) bool {
	cmd := exec.Command(k.program, "run", k.experiment)
	require.NoError(k.t, cmd.Start())
	time.Sleep(after)
	require.NoError(k.t, cmd.Process.Kill())
	err := cmd.Wait()
	return err != nil && cmd.ProcessState.ExitCode() == -1
}

// leftovers are temporary files and folders, which a write that ends takes away.
func (k *killer) leftovers() []string {
	var out []string
	err := filepath.WalkDir(filepath.Dir(k.out()), func(name string, entry os.DirEntry, err error) error {
		if err == nil && (atomicfile.IsTemp(entry.Name()) || strings.HasPrefix(entry.Name(), ".next-")) {
			out = append(out, name)
		}
		return err
	})
	require.NoError(k.t, err)
	return out
}

// finish runs again and holds what is there against the undisturbed run.
func (k *killer) finish(when string) {
	k.run(when)
	got := k.outputs()
	require.Len(k.t, got, len(k.want), when)
	for name, want := range k.want {
		require.True(k.t, want == got[name], "%s: %s has other bytes", when, name)
	}
	m, err := manifest.Decode([]byte(got["manifest.json"]))
	require.NoError(k.t, err, when)
	require.Len(k.t, m.Outputs, len(got)-2, "%s: all but the manifest and the marker", when)
	for _, f := range m.Outputs {
		require.Equal(k.t, f.SHA256, store.Sum([]byte(got[f.Name])), "%s: %s", when, f.Name)
	}
	ledger, err := os.ReadFile(k.looks())
	require.NoError(k.t, err, when)
	require.Equal(k.t, 2, strings.Count(string(ledger), "\n"), "%s: the ledger has its head and one look", when)
	require.Empty(k.t, k.leftovers(), when)
}

// outputs are the files of the output folder without the store.
func (k *killer) outputs() map[string]string {
	out := map[string]string{}
	err := filepath.WalkDir(k.out(), func(name string, entry os.DirEntry, err error) error {
		if err != nil || entry.IsDir() && entry.Name() != "store" {
			return err
		}
		if entry.IsDir() {
			return filepath.SkipDir
		}
		data, err := os.ReadFile(name)
		rel, _ := filepath.Rel(k.out(), name)
		out[filepath.ToSlash(rel)] = string(data)
		return err
	})
	require.NoError(k.t, err)
	return out
}
