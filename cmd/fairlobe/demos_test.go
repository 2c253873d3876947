package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/experiments"
	"fairlobe/experiments/repeat"
	"fairlobe/experiments/seal"
)

var updateDemos = flag.Bool("update-demos", false, "write the demos' data and seals again")

// demo is a demonstration: its data are made by one command, and its verdicts follow from the stated truth.
type demo struct {
	name string
	how  []string // behind `fairlobe rehearse experiments/NAME.toml`
	// want holds the expected verdicts by claim, one for each band.
	want map[string][]string
	// kind is that of a repeat of ridge-wire, and varied what differs; "" of an experiment of its own.
	kind   string
	varied []string
}

func demos() []demo {
	return []demo{
		{"ridge-wire", []string{"--truth", "20m: high +2.5 dB", "--truth", "10m: high +0.2 dB", "--mishaps"}, map[string][]string{
			"lift helps":             {"different", "practically the same"},
			"lift favours the slope": {"undecided", "undecided"},
			"match holds":            {"holds", "holds"},
		}, "", nil},
		// Repeats of ridge-wire by other operators at other places.
		{"plain-wire", []string{"--truth", "20m: high +1.2 dB", "--truth", "10m: high +0.3 dB"}, map[string][]string{
			"lift helps":             {"different", "practically the same"},
			"lift favours the slope": {"undecided", "undecided"},
			"match holds":            {"holds", "holds"},
		}, repeat.Direct, nil},
		{"hill-wire", []string{"--truth", "20m: high +2.8 dB", "--truth", "10m: high +0.6 dB"}, map[string][]string{
			"lift helps":             {"different", "undecided"},
			"lift favours the slope": {"undecided", "undecided"},
			"match holds":            {"holds", "holds"},
		}, repeat.Varied, []string{"mast: glass fibre there, wood here", "power_w: 4 W there, 10 W here"}},
		{"mesa-wire", []string{"--truth", "20m: high +2 dB", "--truth", "10m: high -0.2 dB"}, map[string][]string{
			"lift helps":             {"different", "undecided"},
			"lift favours the slope": {"undecided", "undecided"},
			"match holds":            {"holds", "holds"},
		}, repeat.Direct, nil},
		{"turned-wire", []string{"--truth", "20m: across two lobes 2 dB along 30", "--truth", "20m: along two lobes 2 dB along 120",
			"--truth", "15m: across two lobes 1 dB along 30", "--truth", "15m: along two lobes 1 dB along 120"}, map[string][]string{
			"turning shows":             {"different", "undecided"},
			"turning changes the level": {"undecided", "undecided"},
			"match holds":               {"holds", "holds"},
		}, "", nil},
		{"one-wire", []string{"--truth", "wire lobe 3 dB toward 300"}, map[string][]string{"the wire favours the slope": {"refused"}}, "", nil},
		{"valley-wire", []string{"--truth", "higher +2 dB"}, map[string][]string{"lifting is worth while": {"different"}}, "", nil},
	}
}

// The demos' data and seals are what the command that their README shows writes, and `run` finds in them what the README
// expects from the truth.
func TestDemos(t *testing.T) {
	top, err := filepath.Abs("../..")
	require.NoError(t, err)
	for _, d := range demos() {
		if testing.Short() && d.kind == repeat.Direct {
			continue // made and judged as ridge-wire is
		}
		t.Run(d.name, func(t *testing.T) {
			made := d.rehearse(t, top)
			data, sealed := filepath.Join(top, "datasets", d.name), filepath.Join(top, "experiments", d.name+seal.Suffix)
			if *updateDemos {
				renew(t, filepath.Join(made, "data"), data)
				copyPath(t, filepath.Join(made, d.name+seal.Suffix), sealed)
			}
			require.Equal(t, contents(t, filepath.Join(made, "data")), contents(t, data), "go test ./cmd/fairlobe -run TestDemos -update-demos writes them again")
			require.Equal(t, read(t, filepath.Join(made, d.name+seal.Suffix)), read(t, sealed))
			d.origin(t, top)
			d.run(t, top)
			d.readme(t, read(t, filepath.Join(data, "README.md")))
		})
	}
}

// origin holds that a repeat knows where it comes from: what `receive` writes beside a repeat of the design of ridge-wire, which is
// the same whoever shares it.
func (d demo) origin(t *testing.T, top string) {
	path := filepath.Join(top, "experiments", d.name+repeat.Suffix)
	if d.kind == "" {
		require.NoFileExists(t, path)
		return
	}
	dir := t.TempDir()
	key, bundle, repeated := filepath.Join(dir, "share.key"), filepath.Join(dir, "design.zip"), filepath.Join(dir, "repeat")
	require.NoError(t, os.WriteFile(key, []byte(strings.Repeat("1f", 32)+"\n"), 0o600))
	var out, errOut bytes.Buffer
	require.Equal(t, statusDone, run([]string{"share", filepath.Join(top, "experiments/ridge-wire.toml"), "--design-only", "--licence", "CC0-1.0",
		"--key", key, "--to", bundle}, nil, &out, &errOut), errOut.String())
	require.Equal(t, statusDone, run([]string{"receive", bundle, repeated}, nil, &out, &errOut), errOut.String())
	if *updateDemos {
		copyPath(t, filepath.Join(repeated, "ridge-wire"+repeat.Suffix), path)
	}
	text := read(t, path)
	require.Equal(t, read(t, filepath.Join(repeated, "ridge-wire"+repeat.Suffix)), text)
	origin, err := repeat.Parse(path, []byte(text))
	require.NoError(t, err)
	exp, list := experiments.Load(filepath.Join(top, "experiments", d.name+".toml"))
	require.NoError(t, list.Err())
	found, err := origin.Against(exp)
	require.NoError(t, err)
	require.Equal(t, d.kind, found.Kind())
	require.ElementsMatch(t, d.varied, found.Lines())
}

// rehearse makes the demo's data anew and gives the folder of the rehearsal.
func (d demo) rehearse(t *testing.T, top string) string {
	made := filepath.Join(t.TempDir(), "made")
	var out, errOut bytes.Buffer
	args := append([]string{"rehearse", filepath.Join(top, "experiments", d.name+".toml"), "--out", made}, d.how...)
	require.Equal(t, statusDone, run(args, nil, &out, &errOut), errOut.String())
	require.NotContains(t, out.String(), "WRONG")
	return made
}

// run judges the demo as it stands in the source tree.
func (d demo) run(t *testing.T, top string) {
	dir := t.TempDir()
	for _, part := range []string{"experiments/" + d.name + ".toml", "experiments/" + d.name + seal.Suffix, "datasets/" + d.name} {
		copyPath(t, filepath.Join(top, part), filepath.Join(dir, part))
	}
	var out, errOut bytes.Buffer
	require.Equal(t, statusDone, run([]string{"run", filepath.Join(dir, "experiments", d.name+".toml"), "--json"}, nil, &out, &errOut), errOut.String())
	var found struct {
		Claims []struct{ Claim, Verdict, Evidence string }
	}
	require.NoError(t, json.Unmarshal(out.Bytes(), &found))
	got := map[string][]string{}
	for _, c := range found.Claims {
		got[c.Claim] = append(got[c.Claim], c.Verdict)
		if c.Verdict != "refused" && c.Verdict != "holds" {
			require.Equal(t, "randomised", c.Evidence, "the seal fits and is older than the data")
		}
	}
	require.Equal(t, d.want, got)
}

// readme holds the README of the data against the demo.
func (d demo) readme(t *testing.T, text string) {
	words := []string{"go run ./cmd/fairlobe rehearse experiments/" + d.name + ".toml"}
	for _, w := range d.how {
		if !strings.HasPrefix(w, "--") {
			w = fmt.Sprintf("%q", w)
		}
		words = append(words, w)
	}
	joined := strings.Join(strings.Fields(strings.ReplaceAll(text, "\\\n", " ")), " ")
	require.Contains(t, joined, strings.Join(words, " ")+" --data-only ", "the README shows the command")
	got := map[string][]string{}
	_, table, found := strings.Cut(text, "\n## Expected verdicts\n")
	require.True(t, found)
	table, _, _ = strings.Cut(table, "\n## ")
	for line := range strings.Lines(table) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if name, _, ok := strings.Cut(cells[0], " ("); ok && len(cells) > 1 {
			got[name] = cells[1:]
		}
	}
	require.Equal(t, d.want, got)
}

// contents gives the files of a data folder but for its README, packed ones unpacked: another release of the compressor may
// pack the same bytes differently.
func contents(t *testing.T, dir string) map[string]string {
	out := map[string]string{}
	require.NoError(t, fs.WalkDir(os.DirFS(dir), ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || name == "README.md" {
			return err
		}
		text := read(t, filepath.Join(dir, filepath.FromSlash(name)))
		if strings.HasSuffix(name, ".gz") {
			zip, err := gzip.NewReader(strings.NewReader(text))
			require.NoError(t, err)
			plain, err := io.ReadAll(zip)
			require.NoError(t, err)
			text = string(plain)
		}
		out[name] = text
		return nil
	}))
	require.NotEmpty(t, out)
	return out
}

func read(t *testing.T, path string) string {
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(data)
}

// renew puts new data into a data folder and keeps its README.
func renew(t *testing.T, from, to string) {
	entries, err := os.ReadDir(to)
	require.NoError(t, err)
	for _, e := range entries {
		if e.Name() != "README.md" {
			require.NoError(t, os.RemoveAll(filepath.Join(to, e.Name())))
		}
	}
	require.NoError(t, os.CopyFS(to, os.DirFS(from)))
}

// No demo is a burden to whoever fetches the source.
func TestDemosAreSmall(t *testing.T) {
	for _, d := range demos() {
		size := int64(0)
		require.NoError(t, filepath.WalkDir(filepath.Join("../../datasets", d.name), func(_ string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() {
				return err
			}
			info, err := entry.Info()
			size += info.Size()
			return err
		}))
		require.Less(t, size, int64(300_000), d.name)
	}
}
