package rehearsal

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"time"
)

// switchLog writes the operator's log as switches.csv: times in UTC with Z, unused fields empty.
func switchLog(log []event) ([]byte, error) {
	lines := [][]string{{"time", "entered", "event", "session", "band", "block", "arm", "value", "note"}}
	for _, e := range log {
		lines = append(lines, []string{
			e.time.UTC().Format(time.RFC3339Nano), e.entered.UTC().Format(time.RFC3339Nano), e.kind,
			count(e.session), e.band, count(e.block), e.arm, e.value, e.note,
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
