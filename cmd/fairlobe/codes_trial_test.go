package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/experiments"
	"fairlobe/experiments/looks"
	"fairlobe/experiments/seal"
	"fairlobe/stages"
	"fairlobe/stages/schedule"
)

// smallTrial is a data set that is written by hand rather than invented: an experiment file and all that lies beside it.
// A case takes a copy of a base and changes what its code is about.
type smallTrial struct {
	text     string   // the experiment file
	sealed   []string // pairs of pieces of text, in which the experiment was another when it was sealed
	sealedAt time.Duration
	unsealed bool
	looked   time.Time // of an earlier look; zero: there was none
	sky      smallSky
	local    time.Duration // ahead of UTC are the times of a second file
	log      []func(dwells []schedule.Dwell, log []logLine) []logLine
	files    map[string]string // further data files, or others in place of those that are made
	// more makes one more file.
	more func(dwells []schedule.Dwell, listeners []listener) (name, text string)
	// order is that of a schedule that lies in a file; nil: it is drawn. drawn is the experiment file before.
	order func(block int) [2]string
	drawn string
}

// smallSky says who reports what.
type smallSky struct {
	listeners []listener
	strongDB  float64                                    // SNR of the arm low on average
	gainDB    func(l listener, d schedule.Dwell) float64 // on top of it
	noiseDB   float64                                    // SD of a report
	blockDB   float64                                    // SD of the difference of a block
	deaf      func(listener int, d schedule.Dwell) bool  // to what is sent
	seldom    bool                                       // each reports in every second dwell only
	every     int                                        // reports come in every so many own slots
	ahead     time.Duration                              // of UTC are the times
	until     float64                                    // share of the dwells that is reported; 0 for all
}

// listener is a station that reports.
type listener struct {
	azimuth, km float64
	reports     float64 // share of the slots in which it reports; 0 for all
}

// logLine is a line of the switch log. rest holds session,band,block,arm,value,note.
type logLine struct {
	at, entered time.Time
	kind, rest  string
}

// edit replaces pieces of the experiment file.
func (s *smallTrial) edit(pairs ...string) {
	for i := 0; i < len(pairs); i += 2 {
		if strings.Count(s.text, pairs[i]) != 1 {
			panic(fmt.Sprintf("the experiment has %q %d times", pairs[i], strings.Count(s.text, pairs[i])))
		}
		s.text = strings.Replace(s.text, pairs[i], pairs[i+1], 1)
	}
}

// given lets the schedule lie in a file.
func (s *smallTrial) given(declared string, order func(block int) [2]string) {
	s.drawn, s.order = s.text, order
	s.edit(drawnSchedule, fmt.Sprintf(givenSchedule, declared))
}

// add adds a table behind the others.
func (s *smallTrial) add(table string) { s.text += table + "\n" }

// wrote adds a line to the log.
func (s *smallTrial) wrote(line func(dwells []schedule.Dwell) logLine) {
	s.log = append(s.log, func(dwells []schedule.Dwell, log []logLine) []logLine { return append(log, line(dwells)) })
}

// without takes lines out of the log.
func (s *smallTrial) without(out func(l logLine) bool) {
	s.log = append(s.log, func(_ []schedule.Dwell, log []logLine) []logLine { return slices.DeleteFunc(log, out) })
}

// dropping drops blocks, each in the dwell of one arm ("": in its first dwell).
func (s *smallTrial) dropping(arm, note string, blocks ...int) {
	for _, block := range blocks {
		s.wrote(func(dwells []schedule.Dwell) logLine {
			d := dwells[slices.IndexFunc(dwells, func(d schedule.Dwell) bool { return d.Block == block && (arm == "" || d.Arm == arm) })]
			return logLine{at: d.Start.Add(time.Minute), kind: "drop", rest: fmt.Sprintf("%d,%s,%d,%s,,%s", d.Session, d.Band, d.Block, d.Arm, note)}
		})
	}
}

// droppedLate drops the blocks of some dwells, in lines that were written when the trial was over.
func (s *smallTrial) droppedLate(numbers ...int) {
	for _, i := range numbers {
		s.wrote(func(dwells []schedule.Dwell) logLine {
			d := dwells[i]
			return logLine{at: d.Start.Add(time.Minute), entered: dwells[len(dwells)-1].End.Add(2 * time.Minute), kind: "drop",
				rest: fmt.Sprintf("%d,%s,%d,%s,,rain on the connector", d.Session, d.Band, d.Block, d.Arm)}
		})
	}
}

// write puts the data set into a folder and gives the path of the experiment file.
func (s *smallTrial) write(t *testing.T) string {
	dir := t.TempDir()
	if s.order != nil { // its clock is that of the schedule in whose place it stands
		_, drawn := loaded(t, t.TempDir(), s.drawn)
		require.NoError(t, os.WriteFile(filepath.Join(dir, "schedule.csv"), []byte(scheduleFile(drawn, s.order)), 0o644))
	}
	exp, dwells := loaded(t, dir, s.text)
	files := map[string]string{"spots/reports.csv": s.sky.reports(dwells)}
	if s.local > 0 {
		second := s.sky
		second.ahead, second.listeners = s.local, second.listeners[:5]
		files["spots/local.csv"] = second.reports(dwells)
	}
	if s.more != nil {
		name, text := s.more(dwells, s.sky.listeners)
		files[name] = text
	}
	if exp.Switches != "" {
		files[exp.Switches] = s.switches(dwells)
	}
	maps.Copy(files, s.files)
	for name, text := range files {
		at := filepath.Join(exp.DataDir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(at), 0o755))
		if text != "" {
			require.NoError(t, os.WriteFile(at, []byte(text), 0o644))
		}
	}
	if !s.unsealed && s.order == nil {
		s.seal(t, filepath.Join(dir, "trial"+seal.Suffix))
	}
	if !s.looked.IsZero() {
		look := looks.Look{Time: s.looked, Data: digestOf("data"), Experiment: digestOf("experiment")}
		require.NoError(t, looks.Append(filepath.Join(dir, "trial.looks.csv"), nil, look))
	}
	return filepath.Join(dir, "trial.toml")
}

func digestOf(text string) string { return "sha256:" + fmt.Sprintf("%064x", text) }

// loaded writes an experiment file into a folder, and gives the experiment and its planned dwells.
func loaded(t *testing.T, dir, text string) (*experiments.Experiment, []schedule.Dwell) {
	path := filepath.Join(dir, "trial.toml")
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "data"), 0o755))
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	exp, list := experiments.Load(path)
	require.NoError(t, list.Err())
	dwells, err := stages.Schedule(exp)
	require.NoError(t, err)
	return exp, dwells
}

// seal seals the experiment as it was at that time.
func (s *smallTrial) seal(t *testing.T, path string) {
	was := *s
	was.edit(s.sealed...)
	exp, dwells := loaded(t, t.TempDir(), was.text)
	canonical, err := exp.Canonical()
	require.NoError(t, err)
	made, err := seal.Make(canonical, dwells, exp.Seed, dwells[0].Start.Add(s.sealedAt))
	require.NoError(t, err)
	require.NoError(t, seal.Write(path, made))
}

// reports writes what was heard as delimited text.
func (s smallSky) reports(dwells []schedule.Dwell) string {
	var out strings.Builder
	out.WriteString("time,sender,hearer,lat,lon,band,snr\n")
	random := rand.New(rand.NewPCG(7, 7))
	blocks := map[string]float64{}
	for i, d := range dwells {
		key := fmt.Sprint(d.Session, d.Band, d.Block)
		if _, known := blocks[key]; !known {
			blocks[key] = s.blockDB * random.NormFloat64()
		}
		n := 0
		for slot := range schedule.OwnSlots(d, 15000, "even slots") {
			for k, l := range s.listeners {
				snr, luck := s.snr(random, k, d, blocks[key]), random.Float64()
				if s.silent(k, i, n, d) || l.reports > 0 && luck >= l.reports || s.until > 0 && float64(i) >= s.until*float64(len(dwells)) {
					continue
				}
				lat, lon := l.place()
				fmt.Fprintf(&out, "%s,Q1RDG,%s,%.4f,%.4f,%s,%.0f\n", slot.Add(s.ahead).UTC().Format(time.RFC3339), callOf(k), lat, lon, d.Band, math.Round(snr))
			}
			n++
		}
	}
	return out.String()
}

// snr is what a listener reports in a dwell; blockDB is what the block adds to the arm high.
func (s smallSky) snr(random *rand.Rand, k int, d schedule.Dwell, blockDB float64) float64 {
	snr := s.strongDB - float64(k%3) + float64(s.noiseDB*random.NormFloat64())
	if d.Arm == "high" {
		snr += blockDB
	}
	if s.gainDB != nil {
		snr += s.gainDB(s.listeners[k], d)
	}
	return snr
}

// silent tells whether a listener does not report in the own slot n of the dwell i.
func (s smallSky) silent(k, i, n int, d schedule.Dwell) bool {
	return n%max(1, s.every) != 0 || s.seldom && (i+k)%2 == 0 || s.deaf != nil && s.deaf(k, d)
}

// callOf is the call of a listener.
func callOf(k int) string { return fmt.Sprintf("Q%dT%c%c", 2+k%7, 'A'+k/26, 'A'+k%26) }

// place is where a listener is, degrees, seen from the middle of MN83kp, on a sphere.
func (l listener) place() (lat, lon float64) {
	const radiusKm, lat0, lon0 = 6371.0, 43.6458 * math.Pi / 180, 76.875 * math.Pi / 180
	a, d := l.azimuth*math.Pi/180, l.km/radiusKm
	lat = math.Asin(math.Sin(lat0)*math.Cos(d) + math.Cos(lat0)*math.Sin(d)*math.Cos(a))
	lon = lon0 + math.Atan2(math.Sin(a)*math.Sin(d)*math.Cos(lat0), math.Cos(d)-math.Sin(lat0)*math.Sin(lat))
	return lat * 180 / math.Pi, math.Mod(lon*180/math.Pi+540, 360) - 180
}

// ring puts so many listeners evenly between two azimuths, at distances of two classes.
func ring(n int, from, to float64) []listener {
	var out []listener
	for i := range n {
		out = append(out, listener{azimuth: math.Mod(from+(to-from)*(float64(i)+0.5)/float64(n), 360), km: 900 + 700*float64(i%2)})
	}
	return out
}

// switches writes the log of a trial that went as planned, with the changes of the case, in the order in which it was
// written.
func (s *smallTrial) switches(dwells []schedule.Dwell) string {
	var log []logLine
	for i, d := range dwells {
		if i == 0 || dwells[i-1].Session != d.Session {
			log = append(log, logLine{at: d.Start, kind: "start", rest: fmt.Sprintf("%d,,,,,", d.Session)})
		}
		log = append(log, logLine{at: d.Start.Add(-5 * time.Second), kind: "connected", rest: fmt.Sprintf("%d,%s,%d,%s,,", d.Session, d.Band, d.Block, d.Arm)})
	}
	log = append(log, logLine{at: dwells[len(dwells)-1].End.Add(time.Minute), kind: "end", rest: ",,,,,"})
	for _, change := range s.log {
		log = change(dwells, log)
	}
	for i := range log {
		if log[i].entered.IsZero() {
			log[i].entered = log[i].at
		}
	}
	slices.SortStableFunc(log, func(a, b logLine) int { return cmp.Or(a.entered.Compare(b.entered), a.at.Compare(b.at)) })
	var out strings.Builder
	out.WriteString("time,entered,event,session,band,block,arm,value,note\n")
	for _, l := range log {
		fmt.Fprintf(&out, "%s,%s,%s,%s\n", l.at.UTC().Format(time.RFC3339), l.entered.UTC().Format(time.RFC3339), l.kind, l.rest)
	}
	return out.String()
}

// found is what is asked of verdicts.json.
type found struct {
	Claims []foundClaim
}

type foundClaim struct {
	Claim, Kind, Band, Verdict, Reason string
	Evidence                           *string
	Code                               string `json:"reason_code"`
	Warnings                           []struct{ Code, Text string }
}

// run carries the command out on the data set, and gives what it printed as JSON.
func (s *smallTrial) run(t *testing.T) (found, []byte) {
	var out, errOut bytes.Buffer
	require.Equal(t, statusDone, run([]string{"run", s.write(t), "--json"}, nil, &out, &errOut), errOut.String())
	var got found
	require.NoError(t, json.Unmarshal(out.Bytes(), &got))
	return got, out.Bytes()
}

// scheduleFile writes dwells of two arms as schedule.csv, in the order that is given for each block.
func scheduleFile(dwells []schedule.Dwell, order func(block int) [2]string) string {
	var out strings.Builder
	out.WriteString("session,band,block,position,arm,start,settle_end,end\n")
	for i, d := range dwells {
		fmt.Fprintf(&out, "%d,%s,%d,%d,%s,%s,,%s\n", d.Session, d.Band, d.Block, d.Position, order(i / 2)[i%2],
			d.Start.UTC().Format(time.RFC3339), d.End.UTC().Format(time.RFC3339))
	}
	return out.String()
}
