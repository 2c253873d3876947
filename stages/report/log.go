package report

import (
	"fmt"
	"strings"

	"fairlobe/stages/internal/account"
)

// Limits of what is told of the log, which holds everything.
const (
	mostFromLog   = 40  // lines of the log
	longestRemark = 300 // letters
)

// log lists what the switch log notes.
func (w *writer) log(file []byte) error {
	events, err := logEvents(file)
	if err != nil {
		return err
	}
	if len(events) == 0 {
		return nil
	}
	w.line("FROM THE LOG")
	w.line("")
	for _, e := range events[:min(len(events), mostFromLog)] {
		w.wrap("  ", logLine(e))
	}
	if more := len(events) - mostFromLog; more > 0 {
		w.line("  and %d more", more)
	}
	w.line("")
	return nil
}

func logLine(e account.LogEvent) string {
	parts := []string{e.Kind, e.Time.UTC().Format("2006-01-02 15:04:05Z")}
	if e.Session > 0 {
		parts = append(parts, fmt.Sprintf("session %d", e.Session))
	}
	if e.Band != "" {
		parts = append(parts, clean(e.Band))
	}
	if e.Block > 0 {
		parts = append(parts, fmt.Sprintf("block %d", e.Block))
	}
	if e.Arm != "" {
		parts = append(parts, clean(e.Arm))
	}
	said := short(clean(e.Note), longestRemark)
	if e.Kind == account.Power && e.Value != nil {
		said = strings.TrimSpace(fmt.Sprintf("%g W %s", *e.Value, said))
	}
	if said == "" {
		return strings.Join(parts, ", ")
	}
	return strings.Join(parts, ", ") + ": " + said
}
