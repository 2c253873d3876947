// Package looks keeps the ledger of looks: NAME.looks.csv, one line for each run over data that no earlier run has
// seen. How often somebody has looked decides what a verdict is worth, so the ledger is an input of the analysis and
// belongs to the experiment. Lines are only added.
package looks

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/diag"
)

// Look is one line of the ledger.
type Look struct {
	Time time.Time
	// Data is the digest of what the judge read, Experiment that of what decides the verdict.
	Data, Experiment string
	Blocks           int
	// P holds "claim/band=p" for each claim that has a p value, separated by "; ".
	P string
}

func header() []string { return []string{"time", "data", "experiment", "blocks", "p"} }

// Read reads the ledger; a missing file is an empty one.
func Read(path string) ([]Look, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the ledger of looks: %w", err)
	}
	return parse(path, text)
}

func parse(path string, text []byte) ([]Look, error) {
	r := csv.NewReader(bytes.NewReader(text))
	rows, err := r.ReadAll()
	if err != nil {
		return nil, broken(path, 0, err.Error())
	}
	if len(rows) == 0 || !slices.Equal(rows[0], header()) {
		return nil, broken(path, 1, "the first line is not "+strings.Join(header(), ","))
	}
	var out []Look
	for i, row := range rows[1:] {
		at, err := time.Parse(time.RFC3339, row[0])
		if err != nil {
			return nil, broken(path, i+2, fmt.Sprintf("%q is not a time", row[0]))
		}
		blocks, err := strconv.Atoi(row[3])
		if err != nil {
			return nil, broken(path, i+2, fmt.Sprintf("%q is not a number of blocks", row[3]))
		}
		out = append(out, Look{at, row[1], row[2], blocks, row[4]})
	}
	return out, nil
}

func broken(path string, line int, msg string) error {
	return diag.List{{Pos: diag.Pos{File: path, Line: line}, Msg: msg + ": the ledger of looks is damaged",
		Mend: "put back the file as it was; without it nobody can tell how often the data were looked at"}}
}

// Count gives the number of this look: that of the first one at the same data, or one more than there are.
func Count(all []Look, data string) (n int, isNew bool) {
	var seen []string
	for _, l := range all {
		if !slices.Contains(seen, l.Data) {
			seen = append(seen, l.Data)
		}
	}
	if i := slices.Index(seen, data); i >= 0 {
		return i + 1, false
	}
	return len(seen) + 1, true
}

// Append adds a line. The file is replaced whole, so a kill leaves the old ledger or the new one.
func Append(path string, all []Look, l Look) error {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	rows := [][]string{header()}
	for _, one := range append(slices.Clone(all), l) {
		rows = append(rows, []string{one.Time.UTC().Format(time.RFC3339), one.Data, one.Experiment, strconv.Itoa(one.Blocks), one.P})
	}
	if err := w.WriteAll(rows); err != nil {
		return fmt.Errorf("writing the ledger of looks: %w", err)
	}
	if err := atomicfile.WriteFile(path, out.Bytes(), 0o644); err != nil {
		return fmt.Errorf("writing the ledger of looks: %w", err)
	}
	return nil
}
