package rehearsal_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets/rehearsal"
	"fairlobe/experiments"
	"fairlobe/experiments/seal"
)

func folderOf(t *testing.T, r rehearsed) map[string]string {
	files, err := r.Folder(r.planned, r.options, "fairlobe rehearse trial.toml")
	require.NoError(t, err)
	out := map[string]string{}
	for _, f := range files {
		require.NotContains(t, out, f.Name)
		out[f.Name] = string(f.Data)
	}
	return out
}

// However data is written in the experiment file, the copy reads the rehearsed data, and is the same experiment
// otherwise, so that its seal fits.
func TestTheCopyReadsTheRehearsedData(t *testing.T) {
	for name, text := range map[string]string{
		"no key":        base + aTable,
		"a key":         replaced(t, base, "seed = 11\n", "data = '.' # here\nseed = 11\n") + aTable,
		"a quoted key":  replaced(t, base, "seed = 11\n", "  \"data\"=\".\"\nseed = 11\n") + aTable,
		"windows lines": strings.ReplaceAll(base+aTable, "\n", "\r\n"),
	} {
		t.Run(name, func(t *testing.T) {
			r := rehearse(t, text, false, "high +2 dB")
			files := folderOf(t, r)
			dir := t.TempDir()
			for name, data := range files {
				path := filepath.Join(dir, filepath.FromSlash(name))
				require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
				require.NoError(t, os.WriteFile(path, []byte(data), 0o644))
			}
			again, list := experiments.Load(filepath.Join(dir, "trial.toml"))
			require.NoError(t, list.Err())
			require.Equal(t, filepath.Join(dir, rehearsal.DataFolder), again.DataDir)
			require.Equal(t, strings.Count(text, "\r\n") > 0, strings.Count(files["trial.toml"], "\r\n") == strings.Count(files["trial.toml"], "\n"))
			s, err := seal.Read(filepath.Join(dir, "trial.seal.json"))
			require.NoError(t, err)
			canonical, err := again.Canonical()
			require.NoError(t, err)
			same, orderSame, _ := seal.Compare(s, canonical, r.planned)
			require.True(t, same && orderSame)
			require.True(t, s.SealedAt.Before(r.planned[0].Start))
			require.NoError(t, seal.Write(filepath.Join(dir, "trial.seal.json"), s), "it is the seal that the project itself would write")
			require.Contains(t, files["truth.txt"], "20m: high +2 dB")
			require.Contains(t, files["truth.txt"], "fairlobe rehearse trial.toml")
		})
	}
}

// The page of a rehearsal looks like that of a trial, so the title says what it is, wherever that can be done on one line.
func TestTheCopySaysThatItIsARehearsal(t *testing.T) {
	const was = "title = \"A rehearsed trial\"\n"
	for written, want := range map[string]string{
		was:                                      "Rehearsal: A rehearsed trial",
		"\"title\"='One \"quoted\"' # remark\n":  `Rehearsal: One "quoted"`,
		"title = \"\"\"On two\\\n lines\"\"\"\n": "On twolines",
		"":                                       "trial",
	} {
		r := rehearse(t, replaced(t, base, was, written)+aTable, false, "high +2 dB")
		again, list := experiments.Parse("trial.toml", []byte(folderOf(t, r)["trial.toml"]), nil)
		require.NoError(t, list.Err(), written)
		require.Equal(t, want, again.Title)
	}
}

func TestAMultilineDataKeyIsRefused(t *testing.T) {
	exp, planned := load(t, replaced(t, base, "seed = 11\n", "data = \"\"\"\n.\"\"\"\nseed = 11\n")+aTable)
	truth, err := rehearsal.ParseTruth(exp, bandsOf(planned), nil)
	require.NoError(t, err)
	r, err := rehearsal.Invent(exp, planned, rehearsal.Options{Truth: truth})
	require.NoError(t, err)
	_, err = r.Folder(planned, rehearsal.Options{Truth: truth}, "")
	require.ErrorContains(t, err, `write data = "..."`)
}

// Same experiment, truth and seed: same bytes. Another seed or truth: others.
func TestSameArgumentsSameBytes(t *testing.T) {
	text := base + aTable + "[[spots]]\nfiles = [\"log.adi\"]\nformat = \"adif\"\nseen_from = \"me\"\n[[sweeps]]\narm = \"low\"\nfiles = [\"low.s1p\"]\n"
	exp, planned := load(t, text)
	files := func(seed uint64, statement string) []rehearsal.File {
		truth, err := rehearsal.ParseTruth(exp, bandsOf(planned), []string{statement})
		require.NoError(t, err)
		r, err := rehearsal.Invent(exp, planned, rehearsal.Options{Seed: seed, Truth: truth, Mishaps: true})
		require.NoError(t, err)
		return r.Files
	}
	first := files(7, "high +1 dB")
	require.Equal(t, first, files(7, "high +1 dB"))
	require.NotEqual(t, first, files(8, "high +1 dB"))
	require.NotEqual(t, first, files(7, "high +2 dB"))
}

// Declared powers are real: a louder arm is heard louder, and the truth says so.
func TestDeclaredPowersAreReal(t *testing.T) {
	text := replaced(t, base, "power_w = 4\n", "", "[[arm]]\nname = \"low\"\n", "[[arm]]\nname = \"low\"\npower_w = 1\n", "[[arm]]\nname = \"high\"\n", "[[arm]]\nname = \"high\"\npower_w = 10\n")
	r := rehearse(t, text+aTable, false, "none")
	require.Equal(t, []string{"high sends with +10 dB against low, by the declared powers"}, r.Notes)
	lines, err := r.Beside([]byte(`{"claims": [{"claim": "lift helps", "kind": "level", "band": "20m", "arms": ["high", "low"], "direction": "sent",
		"verdict": "different", "smallest_difference_db": 1.5, "estimate_db": 9.7, "interval_db": [9.1, 10.2]}]}`))
	require.NoError(t, err)
	require.Equal(t, []string{"lift helps, 20m", "    true:  +10 dB", "    found: different; right; the interval 9.10 to 10.20 dB holds the truth"}, lines)
}
