// Package outline has starting points of experiment files: for each common question a commented file that passes the check,
// in which the operator fills in what is marked.
package outline

import (
	"bytes"
	"embed"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
	"text/template"
	"time"
)

//go:embed *.toml.tmpl
var files embed.FS

// Outline is one starting point.
type Outline struct {
	Name  string // as it is asked for
	About string // one line for a menu, without a full stop
	// what the file says of itself
	title, question string
	powerInArms     bool
}

// All gives the starting points, the most common first.
func All() []Outline {
	return []Outline{
		{Name: "height", About: "does lifting the feedpoint help?", title: "Feedpoint, low against high", question: "Does lifting the feedpoint help, and by how much?"},
		{Name: "turned", About: "does turning the wire turn its lobes?", title: "A wire, turned", question: "Does turning the wire to another azimuth turn its lobes?"},
		{Name: "wires", About: "which of two wires is better?", title: "Two wires", question: "Which of the two wires is better, and by how much?"},
		{Name: "choke", About: "does a choke on the feedline change anything?", title: "Feedline with and without a choke", question: "Does the choke change what others hear?"},
		{Name: "counterpoise", About: "does a counterpoise help?", title: "With and without a counterpoise", question: "Does the counterpoise help?"},
		{Name: "null", About: "is the trial fair? one antenna under two names", title: "One antenna under two names", question: "Does the trial find a difference where there is none?"},
		{Name: "step", About: "does the trial find half the power?", title: "Full and half power", question: "Does the trial find a difference that is known?", powerInArms: true},
		{Name: "both-ways", About: "do I hear as well as I am heard?", title: "Sent against received", question: "Does the station hear as well as it is heard?"},
	}
}

// Answers are what an operator is asked for.
type Answers struct {
	Folder          string // of the data, from the experiment file
	Call, Locator   string
	Mode            string
	Bands           []string
	PowerW          float64
	SmallestDB      float64
	SpotIntervalMin float64
	ChangeMin       float64
	BySwitch        bool
	Start           time.Time
	Seed            uint64
}

// leastDwellMin is the dwell that is proposed where every decode is passed on: common practice, no source.
const leastDwellMin = 2

// Text is the experiment file. An error means that there is no such starting point.
func (o Outline) Text(a Answers) ([]byte, error) {
	frame, err := template.ParseFS(files, "frame.toml.tmpl")
	if err != nil {
		return nil, fmt.Errorf("reading the frame of an experiment file: %w", err)
	}
	name := o.Name + ".toml.tmpl"
	if _, err := fs.Stat(files, name); err != nil || o.Name == "frame" || o.Name == "sources" {
		return nil, fmt.Errorf("there is no starting point %q", o.Name)
	}
	if _, err := frame.ParseFS(files, name); err != nil {
		return nil, fmt.Errorf("reading the starting point %s: %w", o.Name, err)
	}
	bands := make([]string, len(a.Bands))
	for i, b := range a.Bands {
		bands[i] = quoted(b)
	}
	changeover := "by hand"
	if a.BySwitch {
		changeover = "switch"
	}
	var text bytes.Buffer
	err = frame.ExecuteTemplate(&text, "frame", map[string]any{
		"What": o.title, "Title": quoted(o.title), "Question": quoted(o.question), "Folder": quoted(a.Folder), "Call": quoted(a.Call), "Locator": quoted(a.Locator),
		"Mode": quoted(a.Mode), "Bands": strings.Join(bands, ", "), "Changeover": quoted(changeover), "PowerInArms": o.powerInArms,
		"PowerW": number(a.PowerW), "HalfPowerW": number(a.PowerW / 2), "SmallestDB": number(a.SmallestDB),
		"SpotIntervalMin": number(a.SpotIntervalMin), "ChangeMin": number(a.ChangeMin), "DwellMin": number(dwell(a.SpotIntervalMin)),
		"Start": a.Start.UTC().Format(time.RFC3339), "Seed": strconv.FormatUint(a.Seed, 10),
	})
	if err != nil {
		return nil, fmt.Errorf("writing the starting point %s: %w", o.Name, err)
	}
	return aligned(text.String()), nil
}

// Sources is the end of an experiment file that has no data yet: where the reports, the sweeps and the log will be.
type Sources struct {
	// Measured are the arms that an analyser is to measure.
	Measured []string
	// PowerTold: the reports tell the power of the other station.
	PowerTold bool
}

// Text is that end, with comments for a person.
func (s Sources) Text() ([]byte, error) {
	frame, err := template.ParseFS(files, "frame.toml.tmpl", "sources.toml.tmpl")
	if err != nil {
		return nil, fmt.Errorf("reading the sources of an experiment file: %w", err)
	}
	measured := make([]map[string]string, len(s.Measured))
	for i, arm := range s.Measured {
		measured[i] = map[string]string{"Arm": quoted(arm), "Files": quoted("sweeps/" + fileStem(arm, i+1) + "-*.s1p")}
	}
	var text bytes.Buffer
	if err := frame.ExecuteTemplate(&text, "sources", map[string]any{"Measured": measured, "PowerTold": s.PowerTold}); err != nil {
		return nil, fmt.Errorf("writing the sources of an experiment file: %w", err)
	}
	return text.Bytes(), nil
}

// fileStem makes the beginning of a file's name from an arm's, or from its number where the name is no plain word.
func fileStem(arm string, number int) string {
	plain := func(r rune) bool { return r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' }
	if arm == "" || strings.ContainsFunc(arm, func(r rune) bool { return !plain(r) }) {
		return "arm-" + strconv.Itoa(number)
	}
	return arm
}

// commentColumn is where comments behind a value begin.
const commentColumn = 36

// aligned puts the comments behind values, which two spaces set off, under one another.
func aligned(text string) []byte {
	var out strings.Builder
	for line := range strings.Lines(text) {
		value, comment, found := strings.Cut(line, "  #")
		if found {
			value = strings.TrimRight(value, " ")
			line = value + strings.Repeat(" ", max(1, commentColumn-len(value))) + "#" + comment
		}
		out.WriteString(line)
	}
	return []byte(out.String())
}

// dwell is a minute more than the time in which a report is passed on.
func dwell(spotIntervalMin float64) float64 {
	if spotIntervalMin == 0 {
		return leastDwellMin
	}
	return spotIntervalMin + 1
}

// quoted is a TOML string.
func quoted(text string) string { return strconv.Quote(text) }

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
