package rehearsal_test

import (
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets/rehearsal"
	"fairlobe/experiments"
	"fairlobe/stages"
	"fairlobe/stages/schedule"
)

var specifier = regexp.MustCompile(`^<([A-Z_]+):(\d+)>`)

// specifiers reads ADI text by the lengths of its data specifiers, and gives the number of records and the last value of
// each field.
func specifiers(t testing.TB, from io.Reader) (records int, fields map[string]string) {
	data, err := io.ReadAll(from)
	require.NoError(t, err)
	text := string(data)
	fields = map[string]string{}
	text = text[strings.Index(text, "<"):]
	for text != "" {
		if rest, ok := strings.CutPrefix(text, "<EOH>\n"); ok {
			text = rest
			continue
		}
		if rest, ok := strings.CutPrefix(text, "<EOR>\n"); ok {
			text, records = rest, records+1
			continue
		}
		m := specifier.FindStringSubmatch(text)
		require.NotNil(t, m, "%.40q", text)
		n, err := strconv.Atoi(m[2])
		require.NoError(t, err)
		fields[m[1]] = text[len(m[0]) : len(m[0])+n]
		text = strings.TrimLeft(text[len(m[0])+n:], " \n")
	}
	return records, fields
}

// fromFile rehearses an experiment whose schedule stands in order.csv.
func fromFile(t testing.TB, text string, planned []schedule.Dwell) rehearsed {
	t.Helper()
	dir := t.TempDir()
	order, err := os.Create(filepath.Join(dir, "order.csv"))
	require.NoError(t, err)
	require.NoError(t, schedule.WriteCSV(order, planned))
	require.NoError(t, order.Close())
	path := filepath.Join(dir, "trial.toml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	exp, list := experiments.Load(path)
	require.NoError(t, list.Err())
	r := rehearsed{exp: exp}
	r.planned, err = stages.Schedule(exp)
	require.NoError(t, err)
	r.options = rehearsal.Options{Seed: 5, Mishaps: true}
	r.options.Truth, err = rehearsal.ParseTruth(exp, bandsOf(r.planned), nil)
	require.NoError(t, err)
	r.options.Mishaps = false
	r.Rehearsal, err = rehearsal.Invent(exp, r.planned, r.options)
	require.NoError(t, err)
	for _, f := range r.Files {
		path := filepath.Join(exp.DataDir, filepath.FromSlash(f.Name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, f.Data, 0o644))
	}
	return r
}
