package synth

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"time"
)

// switchLog writes the operator's log as switches.csv: times in UTC with Z, unused fields empty.
func switchLog(log []Event) ([]byte, error) {
	lines := [][]string{{"time", "entered", "event", "session", "band", "block", "arm", "value", "note"}}
	for _, e := range log {
		lines = append(lines, []string{
			e.Time.UTC().Format(time.RFC3339), e.Entered.UTC().Format(time.RFC3339), e.Event,
			count(e.Session), e.Band, count(e.Block), e.Arm, e.Value, e.Note,
		})
	}
	var out bytes.Buffer
	if err := csv.NewWriter(&out).WriteAll(lines); err != nil {
		return nil, fmt.Errorf("writing the switch log: %w", err)
	}
	return out.Bytes(), nil
}

// count writes a number that is empty when there is none.
func count(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}
