package main

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"html"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/experiments/repeat"
	"fairlobe/pipeline/table"
	"fairlobe/stages"
)

// testKey is the key of tests.
const testKey = "0f0e0d0c0b0a090807060504030201000f0e0d0c0b0a09080706050403020100\n"

// keyFile writes the key of tests into a folder.
func keyFile(t *testing.T) string {
	path := filepath.Join(t.TempDir(), "my.key")
	require.NoError(t, os.WriteFile(path, []byte(testKey), 0o600))
	return path
}

// shared shares an experiment and gives the bundle and what was printed.
func shared(t *testing.T, path string, more ...string) (bundle []byte, screen string) {
	t.Helper()
	to := filepath.Join(t.TempDir(), "got.zip")
	var out, errOut bytes.Buffer
	require.Equal(t, statusDone, run(append([]string{"share", path, "--key", keyFile(t), "--to", to}, more...), nil, &out, &errOut), errOut.String())
	bundle, err := os.ReadFile(to)
	require.NoError(t, err)
	return bundle, out.String()
}

// refusedShare shares an experiment that must be refused, and gives what was said. Nothing may be written.
func refusedShare(t *testing.T, path string, more ...string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "got.zip")
	var out, errOut bytes.Buffer
	require.Equal(t, statusFault, run(append([]string{"share", path, "--key", keyFile(t), "--to", to}, more...), nil, &out, &errOut), out.String())
	require.Empty(t, out.String())
	require.NoFileExists(t, to)
	return errOut.String()
}

// leaks looks for secrets in all that a bundle holds, whatever the case of letters and wherever in a word: names of members, texts as they
// stand and decoded, and every text of every Parquet file. It gives where they were found.
func leaks(t *testing.T, bundle []byte, secrets []string) []string {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(bundle), int64(len(bundle)))
	require.NoError(t, err)
	var found []string
	find := func(where, text string) {
		text = strings.ToLower(text)
		for _, s := range secrets {
			if at := where + ": " + s; strings.Contains(text, strings.ToLower(s)) && !slices.Contains(found, at) {
				found = append(found, at)
			}
		}
	}
	require.Empty(t, z.Comment)
	tables := 0
	for _, f := range z.File {
		find("a name", f.Name)
		find("a comment", f.Comment+string(f.Extra))
		r, err := f.Open()
		require.NoError(t, err)
		data, err := io.ReadAll(r)
		require.NoError(t, err)
		name := filepath.Base(f.Name)
		if strings.HasSuffix(name, ".parquet") {
			tables++
			held := map[string]*strings.Builder{} // cells column by column: one search for all
			require.NoError(t, table.Texts(data, func(where, text string) {
				where, _, _ = strings.Cut(where, ", row ")
				if held[where] == nil {
					held[where] = &strings.Builder{}
				}
				held[where].WriteString(text + "\n" + decoded(text) + "\n")
			}))
			for where, texts := range held {
				find(name+", "+where, texts.String())
			}
			continue
		}
		find(name, string(data))
		find(name, html.UnescapeString(string(data)))
		find(name, decoded(string(data)))
	}
	require.Contains(t, []int{0, len(stages.SharedTables())}, tables)
	return found
}

// decoded gives all texts of JSON, one a line; "" if it is none.
func decoded(text string) string {
	var v any
	if !strings.HasPrefix(text, "{") || json.Unmarshal([]byte(text), &v) != nil {
		return ""
	}
	var all []string
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case string:
			all = append(all, v)
		case []any:
			for _, item := range v {
				walk(item)
			}
		case map[string]any:
			for key, inner := range v {
				all = append(all, key)
				walk(inner)
			}
		}
	}
	walk(v)
	return strings.Join(all, "\n")
}

var (
	callIn    = regexp.MustCompile(`\bQ[0-9][A-Z][A-Z0-9]+(/[A-Z0-9]+)?\b`)
	locatorIn = regexp.MustCompile(`\b[A-R]{2}[0-9]{2}[a-x]{2}\b`)
)

// secretsBelow gathers what must stay home from the files of a trial: calls, full locators, notes, and names of files and folders. They come
// from the files themselves and not from what the program makes of them.
func secretsBelow(t *testing.T, exp string, dirs ...string) []string {
	t.Helper()
	text := read(t, exp)
	secrets := append(callIn.FindAllString(text, -1), locatorIn.FindAllString(text, -1)...)
	secrets = append(secrets, filepath.Dir(exp))
	for _, dir := range dirs {
		require.NoError(t, filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			if strings.HasSuffix(path, ".gz") {
				r, err := gzip.NewReader(bytes.NewReader(data))
				require.NoError(t, err)
				data, err = io.ReadAll(r)
				require.NoError(t, err)
			}
			secrets = append(secrets, callIn.FindAllString(string(data), -1)...)
			secrets = append(secrets, locatorIn.FindAllString(string(data), -1)...)
			rel, err := filepath.Rel(dir, path)
			secrets = append(secrets, filepath.ToSlash(rel))
			if strings.HasSuffix(path, "switches.csv") {
				for _, line := range strings.Split(strings.TrimSpace(string(data)), "\n")[1:] {
					if cells := strings.Split(line, ","); cells[len(cells)-1] != "" {
						secrets = append(secrets, cells[len(cells)-1])
					}
				}
			}
			return err
		}))
	}
	slices.Sort(secrets)
	return slices.Compact(secrets)
}

// demoFolder writes the demo into a folder of its own, and gives the path of its experiment file and the folder of its data.
func demoFolder(t *testing.T) (exp, data string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "d")
	var out, errOut bytes.Buffer
	require.Equal(t, statusDone, run([]string{"new", "--demo", dir}, nil, &out, &errOut), errOut.String())
	return filepath.Join(dir, "experiments", "ridge-wire.toml"), filepath.Join(dir, "datasets", "ridge-wire")
}

func TestSharedDemosHoldNothingPrivate(t *testing.T) {
	for _, d := range demos() {
		if d.kind == repeat.Direct || testing.Short() && d.kind == "" {
			continue // one of the repeats is enough
		}
		t.Run(d.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			require.NoError(t, os.MkdirAll(filepath.Join(dir, "experiments"), 0o755))
			for _, ending := range []string{".toml", ".seal.json", repeat.Suffix} {
				if text, err := os.ReadFile("../../experiments/" + d.name + ending); err == nil {
					require.NoError(t, os.WriteFile(filepath.Join(dir, "experiments", d.name+ending), text, 0o644))
				}
			}
			data := filepath.Join(dir, "datasets", d.name)
			require.NoError(t, os.CopyFS(data, os.DirFS("../../datasets/"+d.name)))
			require.NoError(t, os.Remove(filepath.Join(data, "README.md")))
			exp := filepath.Join(dir, "experiments", d.name+".toml")
			secrets := secretsBelow(t, exp, data)
			require.Greater(t, len(secrets), 60)
			bundle, _ := shared(t, exp)
			require.Empty(t, leaks(t, bundle, secrets))
			require.NotEmpty(t, leaks(t, bundle, []string{"Q0Q"}), "the search finds what is there")
			require.Equal(t, d.kind != "", len(leaks(t, bundle, []string{`"kind": "` + repeat.Varied})) == 1, "a repeat says what it repeats")
		})
	}
}

// Trials with what the demos do not have, some of which went another way than planned, are handed over and verified like any other.
func TestSharedTrialsOfOtherKinds(t *testing.T) {
	all := slices.Concat(reasonCases(), warningCases(), kindReasons())
	names := []string{"reason order_not_sealed", "reason control_not_random", "reason late_drop_decides", "warning times_doubtful", "warning order_declared"}
	if testing.Short() {
		names = names[:1]
	}
	for _, name := range names {
		t.Run(strings.ReplaceAll(name, " ", "_"), func(t *testing.T) {
			t.Parallel()
			parts := strings.SplitN(name, " ", 3)
			i := slices.IndexFunc(all, func(c codeCase) bool {
				return c.code == parts[1] && (len(parts) < 3 || c.name == parts[2])
			})
			require.GreaterOrEqual(t, i, 0)
			s := smallBase(all[i].from)
			all[i].make(s)
			path := s.write(t)
			secrets := slices.DeleteFunc(secretsBelow(t, path, filepath.Dir(path)), func(s string) bool {
				return strings.HasPrefix(s, "trial.") || s == "schedule.csv" // the name is the bundle's, and so are these files
			})
			bundle, screen := shared(t, path)
			require.Empty(t, leaks(t, bundle, secrets))
			require.Contains(t, screen, "fairlobe receive got.zip", "the file that was written")
			verified(t, bundle)
		})
	}
}

// verified lets the bundle be judged again.
func verified(t *testing.T, bundle []byte) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "trial.zip")
	require.NoError(t, os.WriteFile(path, bundle, 0o644))
	var out, errOut bytes.Buffer
	require.Equal(t, statusDone, run([]string{"receive", "--verify", path}, nil, &out, &errOut), errOut.String())
	require.Contains(t, out.String(), "The same bytes")
}

// A private word in a text that leaves as it was written is told with its place, and nothing is written.
func TestPlantedWordsAreFound(t *testing.T) {
	if testing.Short() {
		t.Skip("sharing is tested with another demo")
	}
	exp, data := demoFolder(t)
	spots := unpackedSpots(t, data)
	calls := callIn.FindAllString(spots, -1)
	other := calls[slices.IndexFunc(calls, func(call string) bool { return !strings.HasPrefix(call, "Q1RDG") })]
	place := locatorIn.FindString(strings.ReplaceAll(spots, "MN83kp", ""))
	text := read(t, exp)
	var says []string
	for _, c := range []struct{ from, to, says string }{
		{`title = "Ridge wire:`, `title = "Ridge wire of q1rdg:`, "ridge-wire.toml:8:9: title holds Q1RDG, your call"},
		{`question = "Does`, `question = "In MN83KP, does`, "ridge-wire.toml:9:12: question holds MN83kp, your locator"},
		{`mast = "glass fibre"`, `mast = "lent by ` + other + `"`, "ridge-wire.toml:30:8: fixed.mast holds " + other + ", the call of a station"},
		{`other = { "radial count" = 0 }`, `other = { "radials as Q1RDG/P has them" = 0, near = "` + place + `" }`, "holds Q1RDG/P, your call"},
		{`name = "match holds"`, `name = "match of low-1.s1p"`, "claim[2].name holds low-1.s1p, the name of a file"},
		{`name = "lift helps"`, `name = "Q1RDG's lift helps"`, "claim[0].name holds Q1RDG, your call"},
	} {
		require.Contains(t, text, c.from)
		text = strings.Replace(text, c.from, c.to, 1)
		says = append(says, c.says)
	}
	require.NoError(t, os.WriteFile(exp, []byte(text), 0o644))
	said := refusedShare(t, exp)
	for _, want := range append(says, "fixed.other.near holds "+place+", the locator of a station", "nothing was written", "mend: write it without") {
		require.Contains(t, said, want)
	}
	require.NotContains(t, said, "ridge-wire.toml:7:1: the bundle would hold", "each word is told once, where it can be mended")
	require.NoFileExists(t, filepath.Join(filepath.Dir(exp), "ridge-wire.looks.csv"), "nobody has seen anything")

	sealed := filepath.Join(filepath.Dir(exp), "ridge-wire.seal.json")
	named := strings.Replace(read(t, sealed), `"name": "ridge-wire"`, `"name": "at-q1rdg"`, 1)
	require.Contains(t, named, "at-q1rdg")
	require.NoError(t, os.WriteFile(sealed, []byte(named), 0o644))
	require.NoError(t, os.WriteFile(exp, []byte(read(t, "../../experiments/ridge-wire.toml")), 0o644))
	bundle, _ := shared(t, exp, "--design-only")
	require.Empty(t, leaks(t, bundle, []string{"q1rdg"}), "the name of the day of the seal stays home")

	require.NoError(t, os.Rename(exp, filepath.Join(filepath.Dir(exp), "at-q1rdg.toml")))
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(exp), "at-q1rdg.toml"), []byte(read(t, "../../experiments/ridge-wire.toml")), 0o644))
	said = refusedShare(t, filepath.Join(filepath.Dir(exp), "at-q1rdg.toml"), "--design-only")
	require.Contains(t, said, "the bundle would hold Q1RDG, your call")
	require.Contains(t, said, "give its file, seal and ledger another name")
}

func unpackedSpots(t *testing.T, data string) string {
	f, err := os.Open(filepath.Join(data, "spots", "reports-1.csv.gz"))
	require.NoError(t, err)
	defer f.Close()
	r, err := gzip.NewReader(f)
	require.NoError(t, err)
	text, err := io.ReadAll(r)
	require.NoError(t, err)
	return string(text)
}

// What is planted where the program takes it out is not there, and what is planted behind its back is found by the same search.
func TestPlantedNoteAndMetadata(t *testing.T) {
	if testing.Short() {
		t.Skip("sharing is tested with another demo")
	}
	exp, data := demoFolder(t)
	log := filepath.Join(data, "log", "switches.csv")
	text := read(t, log)
	lines := strings.SplitAfter(text, "\n")
	lines[1] = strings.TrimSuffix(lines[1], "\n") + "Q7SECRET gave a hand\n"
	require.NoError(t, os.WriteFile(log, []byte(strings.Join(lines, "")), 0o644))
	bundle, screen := shared(t, exp)
	require.Contains(t, screen, "6 notes of the log: left out")
	require.Empty(t, leaks(t, bundle, []string{"Q7SECRET"}))

	require.Equal(t, []string{"stations.parquet, the entry planted of the file: Q7SECRET"}, leaks(t, planted(t, bundle), []string{"Q7SECRET"}))
}

// planted puts an entry into the footer of a table of a bundle.
func planted(t *testing.T, bundle []byte) []byte {
	z, err := zip.NewReader(bytes.NewReader(bundle), int64(len(bundle)))
	require.NoError(t, err)
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		data, err := io.ReadAll(r)
		require.NoError(t, err)
		if strings.HasSuffix(f.Name, "/stations.parquet") {
			data = withEntry(t, data, "planted", "heard by Q7SECRET")
		}
		to, err := w.Create(f.Name)
		require.NoError(t, err)
		_, err = to.Write(data)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return out.Bytes()
}
