// Package looks keeps the ledger of looks: NAME.looks.csv, one line for each run over data that no earlier run has
// seen. How often somebody has looked decides what a verdict is worth, so the ledger is an input of the analysis and
// belongs to the experiment. Lines are only added.
//
// The model: data are told apart by their digest alone, and the first line with a digest gives the number of that look.
// What the package can't do: know of a look whose line somebody took out.
//
// The file is CSV as in RFC 4180 (Shafranovich, Common Format and MIME Type for CSV Files, 2005), UTF-8, with the
// columns time, data, experiment, blocks, p.
package looks

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
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

// maxBytes is the limit of a ledger: some 50,000 looks.
const maxBytes = 16 << 20

func header() []string { return []string{"time", "data", "experiment", "blocks", "p"} }

// Read reads the ledger; a missing file is an empty one. A damaged one is a diag.List.
func Read(path string) ([]Look, error) {
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the ledger of looks: %w", err)
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, maxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("reading the ledger of looks: %w", err)
	}
	if len(text) > maxBytes {
		return nil, broken(path, 0, fmt.Sprintf("it is larger than %d MiB", maxBytes>>20))
	}
	return parse(path, text)
}

func parse(path string, text []byte) ([]Look, error) {
	r := csv.NewReader(bytes.NewReader(text))
	r.FieldsPerRecord = -1
	var out []Look
	for first := true; ; first = false {
		row, err := r.Read()
		if errors.Is(err, io.EOF) && !first {
			return out, nil
		}
		switch {
		case first && (err != nil || !slices.Equal(row, header())):
			return nil, broken(path, 1, "the first line is not "+strings.Join(header(), ","))
		case first:
			continue
		case err != nil:
			return nil, broken(path, badLine(err), "this is no CSV")
		}
		one, msg := parseRow(row)
		if msg != "" {
			line, _ := r.FieldPos(0)
			return nil, broken(path, line, msg)
		}
		out = append(out, one)
	}
}

func badLine(err error) int {
	var at *csv.ParseError
	if errors.As(err, &at) {
		return at.Line
	}
	return 0
}

// parseRow gives a look, or what is wrong.
func parseRow(row []string) (Look, string) {
	if len(row) != len(header()) {
		return Look{}, fmt.Sprintf("there are %d fields in the place of %d", len(row), len(header()))
	}
	at, err := time.Parse(time.RFC3339, row[0])
	if year := at.UTC().Year(); err != nil || year < 1 || year > 9999 { // in UTC the year can be another one
		return Look{}, fmt.Sprintf("%q is not a time", row[0])
	}
	for _, digest := range row[1:3] {
		if !strings.HasPrefix(digest, "sha256:") {
			return Look{}, fmt.Sprintf("%q is not a digest", digest)
		}
	}
	blocks, err := strconv.Atoi(row[3])
	if err != nil || blocks < 0 {
		return Look{}, fmt.Sprintf("%q is not a number of blocks", row[3])
	}
	return Look{at.UTC(), row[1], row[2], blocks, row[4]}, ""
}

func broken(path string, line int, msg string) error {
	return diag.List{{Pos: diag.Pos{File: path, Line: line}, Msg: msg + ": the ledger of looks is damaged",
		Mend: "put back the file as it was; without it nobody can tell how often the data were looked at"}}
}

// First gives the time of the first look, zero if there was none.
func First(all []Look) time.Time {
	if len(all) == 0 {
		return time.Time{}
	}
	return all[0].Time
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

// Private gives the ledger as it is handed over. The digests of the experiment were made over what stays at home, so that of
// the experiment as it is now becomes that of its private form, and those of other forms are numbered.
func Private(all []Look, home, away string) ([]byte, error) {
	names := map[string]string{home: away}
	out := slices.Clone(all)
	others := 0
	for i, l := range out {
		if names[l.Experiment] == "" {
			others++
			names[l.Experiment] = fmt.Sprintf("sha256:earlier-form-%d", others)
		}
		out[i].Experiment = names[l.Experiment]
	}
	return encode(out)
}

func encode(all []Look) ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	rows := [][]string{header()}
	for _, one := range all {
		rows = append(rows, []string{one.Time.UTC().Format(time.RFC3339), one.Data, one.Experiment, strconv.Itoa(one.Blocks), one.P})
	}
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("writing the ledger of looks: %w", err)
	}
	return out.Bytes(), nil
}

// Parse reads a ledger that is no file of its own; file names it in findings.
func Parse(file string, text []byte) ([]Look, error) {
	if len(text) > maxBytes {
		return nil, broken(file, 0, fmt.Sprintf("it is larger than %d MiB", maxBytes>>20))
	}
	return parse(file, text)
}

// Append adds a line to the looks that Read gave. The file is replaced whole, so a kill leaves the old ledger or the
// new one. Where it can't be written the error is a diag.List: a look that nobody counts must not be had.
func Append(path string, all []Look, l Look) error {
	text, err := encode(append(slices.Clone(all), l))
	if err != nil {
		return err
	}
	err = atomicfile.WriteFile(path, text, 0o644)
	if errors.Is(err, fs.ErrPermission) || errors.Is(err, syscall.EROFS) {
		return diag.List{{Pos: diag.Pos{File: path}, Msg: "the ledger of looks can't be written, since the folder takes no files: nothing is shown without it",
			Mend: "give yourself the right to write into the folder of the experiment file, or copy experiment and ledger into one of your own"}}
	}
	if err != nil {
		return fmt.Errorf("writing the ledger of looks: %w", err)
	}
	if _, err := atomicfile.Sweep(filepath.Dir(path)); err != nil { // what a killed run left
		return fmt.Errorf("writing the ledger of looks: %w", err)
	}
	return nil
}
