package handover

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"fairlobe/stages/dwells"
	"fairlobe/stages/internal/account"
)

// HideTrial gives trial.json without the words of the operator: remarks are left out, other events lose their notes.
func HideTrial(text []byte, hidden *Hidden) ([]byte, error) {
	var t account.Trial
	if err := json.Unmarshal(text, &t); err != nil {
		return nil, fmt.Errorf("reading %s: %w", FileTrial, err)
	}
	var events []account.LogEvent
	for _, e := range t.Events {
		hidden.note(e.Note)
		e.Note = ""
		if e.Kind != account.Remark {
			events = append(events, e)
		}
	}
	t.Events = events
	return encode(t)
}

// HideIntake gives intake.json with other names for the input files; names are those at home and away.
func HideIntake(text []byte, names map[string]string, hidden *Hidden) ([]byte, error) {
	var i account.Intake
	if err := json.Unmarshal(text, &i); err != nil {
		return nil, fmt.Errorf("reading %s: %w", FileIntake, err)
	}
	for n, w := range i.Warnings {
		if w.File == "" {
			continue
		}
		away, known := names[w.File]
		if !known {
			return nil, fmt.Errorf("%s speaks of %q, which is no input", FileIntake, w.File)
		}
		at := w.Said()
		w.File = away
		hidden.Texts[at] = w.Said()
		i.Warnings[n] = w
	}
	return encode(i)
}

// Rows tells of an intake how many rows of spot files were read and used, and the time of the last report, zero without one.
func Rows(intake []byte) (read, used int, last time.Time, err error) {
	var i account.Intake
	if err := json.Unmarshal(intake, &i); err != nil {
		return 0, 0, last, fmt.Errorf("reading %s: %w", FileIntake, err)
	}
	if i.Last != nil {
		last = i.Last.UTC()
	}
	return i.Read, i.Used, last, nil
}

// EmptyLog stands for a switch log that is not there.
func EmptyLog() []byte { return []byte(strings.Join(dwells.Header(), ",") + "\n") }

// HideLog gives the switch log with an empty note column, which is the last one.
func HideLog(text []byte, hidden *Hidden) ([]byte, error) {
	in := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\ufeff"))))
	header := dwells.Header()
	in.FieldsPerRecord = len(header)
	rows, err := in.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("reading the switch log: %w", err)
	}
	for i, row := range rows {
		for k := range row {
			row[k] = strings.TrimSpace(row[k])
		}
		if i > 0 {
			hidden.note(row[len(row)-1])
			row[len(row)-1] = ""
		}
	}
	if len(rows) == 0 || !slices.Equal(rows[0], header) {
		return nil, fmt.Errorf("reading the switch log: its first line is not %s", strings.Join(header, ","))
	}
	var out bytes.Buffer
	if err := csv.NewWriter(&out).WriteAll(rows); err != nil {
		return nil, fmt.Errorf("writing the switch log: %w", err)
	}
	return out.Bytes(), nil
}

// Away takes verdicts.json of home to what it must be away: names of sweeps and files in warnings are others. Both forms
// come with their keys sorted, since only their content is to be compared.
func (h *Hidden) Away(verdicts []byte) ([]byte, error) {
	return sortedJSON(verdicts, h.Texts)
}

// SortedVerdicts gives verdicts.json with its keys sorted.
func SortedVerdicts(verdicts []byte) ([]byte, error) { return sortedJSON(verdicts, nil) }

func sortedJSON(verdicts []byte, texts map[string]string) ([]byte, error) {
	var v any
	d := json.NewDecoder(bytes.NewReader(verdicts))
	d.UseNumber()
	if err := d.Decode(&v); err != nil {
		return nil, fmt.Errorf("reading %s: %w", FileVerdicts, err)
	}
	rename(v, texts)
	return encode(v)
}

// rename changes the names of sweeps and the texts of warnings.
func rename(v any, texts map[string]string) {
	switch v := v.(type) {
	case []any:
		for _, item := range v {
			rename(item, texts)
		}
	case map[string]any:
		for _, key := range []string{"sweep", "text"} {
			if text, ok := v[key].(string); ok {
				if other, ok := texts[text]; ok {
					v[key] = other
				}
			}
		}
		for _, inner := range v {
			rename(inner, texts)
		}
	}
}
