package synth_test

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets/synth"
	"fairlobe/stages/dwells"
	"fairlobe/stages/schedule"
)

// drawn is the schedule of the demonstration trial, in both forms.
func drawn(t *testing.T) ([]schedule.Dwell, []synth.Dwell) {
	start := func(day int) schedule.Session {
		return schedule.Session{StartMs: time.Date(2026, 9, day, 4, 0, 0, 0, time.UTC).UnixMilli(), Blocks: 8}
	}
	const minute = 60_000
	plan, err := schedule.Draw(schedule.Plan{
		Seed: 4012558071, Arms: []string{"low", "high"}, Bands: []string{"20m", "10m"},
		DwellMs: 6 * minute, SettleMs: minute / 2, ArmChangeMs: 3 * minute, BandChangeMs: minute, SlotMs: minute / 4,
		Pattern: schedule.Pairs, Rotate: schedule.BandsWithinArm,
		Breaks:   []schedule.Break{{AfterBlock: 4, LengthMs: 20 * minute}},
		Sessions: []schedule.Session{start(12), start(13)},
	})
	require.NoError(t, err)
	var planned []synth.Dwell
	for _, d := range plan {
		planned = append(planned, synth.Dwell{Session: d.Session, Band: d.Band, Block: d.Block, Position: d.Position,
			Arm: d.Arm, Start: d.Start, Settle: d.SettleEnd, End: d.End})
	}
	return plan, planned
}

func files(t *testing.T) map[string][]byte {
	_, planned := drawn(t)
	list, err := synth.RidgeWireFiles(planned)
	require.NoError(t, err)
	out := map[string][]byte{}
	for _, f := range list {
		out[f.Name] = f.Data
	}
	return out
}

// TestTheLogTellsWhatHappened applies the written log to the plan and compares with the times that the
// reports were made by.
func TestTheLogTellsWhatHappened(t *testing.T) {
	plan, planned := drawn(t)
	real, _ := synth.RidgeWireOuting().Carry(planned)
	events, faults := dwells.ReadLog(bytes.NewReader(files(t)["log/switches.csv"]), "switches.csv")
	require.Empty(t, faults)
	got, findings := dwells.Apply(plan, events, dwells.Params{SlotMs: 15_000, SettleMs: 30_000, Sends: "even slots"})
	require.NoError(t, findings.Err())

	require.Len(t, got.Dwells, len(real))
	lost := map[string]int{}
	for i, d := range got.Dwells {
		require.Equal(t, real[i].Start, d.Start, "dwell %d", i)
		settle := real[i].Settle
		if d.Session == 2 && d.Band == "20m" && d.Block == 2 {
			settle = settle.Add(30 * time.Second) // the late switch takes the next own slot from the whole block
		}
		require.Equal(t, settle, d.SettleEnd, "dwell %d", i)
		require.Equal(t, real[i].End, d.End, "dwell %d", i)
		require.False(t, real[i].Silent && d.Kept, "dwell %d counts, and nothing was sent", i)
		if !d.Kept {
			lost[fmt.Sprintf("%d %s %d", d.Session, d.Band, d.Block)]++
		}
		late := 0.0
		if !real[i].Connected.IsZero() {
			late = 40
		}
		require.Equal(t, late, d.LateS, "dwell %d", i)
	}
	require.Equal(t, map[string]int{"1 10m 6": 2}, lost, "one block of two dwells is lost")
	require.True(t, got.Ended)
	require.False(t, got.EndedEarly)
	require.Greater(t, got.Unconfirmed, 0.0)
	require.Less(t, got.Unconfirmed, 0.2)
}

func TestOutingAsPlanned(t *testing.T) {
	_, planned := drawn(t)
	real, log := synth.Outing{}.Carry(planned)
	require.Equal(t, planned, real)
	connected := 0
	for _, e := range log {
		if e.Event == "connected" {
			connected++
		}
	}
	require.Equal(t, len(planned), connected)
}

func rows(t *testing.T, data []byte) [][]string {
	zip, err := gzip.NewReader(bytes.NewReader(data))
	require.NoError(t, err)
	table, err := csv.NewReader(zip).ReadAll()
	require.NoError(t, err)
	return table
}

// The columns of the reports.
const (
	when = iota + 1
	sender
	hearer
	where
	hz
	level
)

func TestReports(t *testing.T) {
	all := files(t)
	first, second := rows(t, all["spots/reports-1.csv.gz"]), rows(t, all["spots/reports-2.csv.gz"])
	require.Equal(t, []string{"entry", "when", "who sent", "who heard", "where", "hz", "level", "note"}, first[0])
	require.Equal(t, first[0], second[0])

	kinds := map[string]int{}
	levels := map[string]string{}
	for _, r := range first[1:] {
		count(t, kinds, r)
		levels[key(r)] = r[level]
	}
	var shared, clashes int
	for _, r := range second[1:] {
		count(t, kinds, r)
		if l, ok := levels[key(r)]; ok {
			shared++
			if l != r[level] {
				clashes++
			}
		}
	}
	for kind, least := range map[string]int{
		"good": 8000, "other": 150, "bad locator": 5, "no level": 4, "decimal comma": 4, "impossible time": 3, "no receiver": 2, "no number": 2,
	} {
		require.GreaterOrEqual(t, kinds[kind], least, kind)
		require.Less(t, kinds[kind], 3*least, kind)
	}
	require.Greater(t, shared, 2000)
	require.Greater(t, clashes, 5)
	require.Less(t, clashes, 40)
}

// key is what makes two rows the same report.
func key(r []string) string { return strings.Join([]string{r[when], r[sender], r[hearer], r[hz]}, "|") }

var call = regexp.MustCompile(`^Q\d[A-Z]{2,3}(/P)?$`)

// count sorts one row by what it is.
func count(t *testing.T, kinds map[string]int, r []string) {
	require.Regexp(t, call, r[sender])
	_, badTime := time.Parse(time.RFC3339, r[when])
	_, badLevel := strconv.Atoi(r[level])
	switch {
	case badTime != nil:
		kinds["impossible time"]++
	case r[hearer] == "":
		kinds["no receiver"]++
	case r[where] == "ZZ99":
		kinds["bad locator"]++
	case r[level] == "":
		kinds["no level"]++
	case strings.Contains(r[level], ","):
		kinds["decimal comma"]++
	case badLevel != nil:
		kinds["no number"]++
	case !strings.HasPrefix(r[sender], "Q1RDG"):
		kinds["other"]++
	default:
		kinds["good"]++
	}
	if r[hearer] != "" {
		require.Regexp(t, call, r[hearer])
	}
}

// TestOwnLogSharesReports: a report that the receiver passed on stands in the operator's log too, for many
// contacts with the same SNR and for a few with another.
func TestOwnLogSharesReports(t *testing.T) {
	all := files(t)
	passed := map[string]string{}
	for _, name := range []string{"spots/reports-1.csv.gz", "spots/reports-2.csv.gz"} {
		for _, r := range rows(t, all[name])[1:] {
			passed[r[when]+"|"+r[hearer]] = r[level]
		}
	}
	record := regexp.MustCompile(`<CALL:\d+>(\S+) <QSO_DATE:8>(\d+) <TIME_ON:6>(\d+) .*?<RST_RCVD:3>([-+]\d\d) `)
	found := record.FindAllStringSubmatch(string(all["spots/log.adi"]), -1)
	require.Greater(t, len(found), 100)
	same, other := 0, 0
	for _, m := range found {
		at, err := time.Parse("20060102150405", m[2]+m[3])
		if err != nil {
			continue // the slip of the pen
		}
		level, ok := passed[at.Format(time.RFC3339)+"|"+m[1]]
		switch snr, err := strconv.Atoi(level); {
		case !ok || err != nil:
		case fmt.Sprintf("%+03d", snr) == m[4]:
			same++
		default:
			other++
		}
	}
	require.Greater(t, same, 40)
	require.Greater(t, other, 3)
	require.Less(t, other, 15)
}

// TestADIFLengths reads every data specifier by its length, as ADIF 3.1.5 (II.A) has it.
func TestADIFLengths(t *testing.T) {
	text := string(files(t)["spots/log.adi"])
	_, text, ok := strings.Cut(text, "<EOH>\n")
	require.True(t, ok)
	specifier := regexp.MustCompile(`^<([A-Z_]+):(\d+)>`)
	records := 0
	for text != "" {
		if rest, ok := strings.CutPrefix(text, "<EOR>\n"); ok {
			text, records = rest, records+1
			continue
		}
		m := specifier.FindStringSubmatch(text)
		require.NotNil(t, m, "%.40q", text)
		n, err := strconv.Atoi(m[2])
		require.NoError(t, err)
		text = text[len(m[0])+n:]
		require.Equal(t, " ", text[:1])
		text = text[1:]
	}
	require.InDelta(t, 252, records, 6) // two contacts of two records in each of 63 dwells
}

// TestReadingsAreConsistent: displayed SWR and return loss must allow a common reflection, |g| = (s-1)/(s+1) = 10^(-RL/20)
// (Pozar, Microwave Engineering, section 2.3), and lie within the limit of the claim at both ends of the line.
func TestReadingsAreConsistent(t *testing.T) {
	for _, name := range []string{"sweeps/high-readings.csv", "sweeps/low-readings.csv"} {
		table, err := csv.NewReader(bytes.NewReader(files(t)[name])).ReadAll()
		require.NoError(t, err)
		require.Equal(t, []string{"frequency_mhz", "swr", "return_loss_db"}, table[0])
		covered := map[string]bool{}
		for _, r := range table[1:] {
			v := make([]float64, 3)
			for i, text := range r {
				v[i], err = strconv.ParseFloat(text, 64)
				require.NoError(t, err)
			}
			covered[r[0]] = true
			low, high := magnitude(v[1]-0.005), magnitude(v[1]+0.005)
			require.LessOrEqual(t, low, math.Pow(10, -(v[2]-0.05)/20))
			require.GreaterOrEqual(t, high, math.Pow(10, -(v[2]+0.05)/20))
			// 12 m of line at 4 dB/100 m on 14 MHz, loss growing with the square root of the frequency
			loss := 0.12 * 4 * math.Sqrt(v[0]/14)
			there := high * math.Pow(10, 2*loss/20)
			require.Less(t, (1+there)/(1-there), 2.0, "%s at %s MHz", name, r[0])
		}
		for _, edge := range []string{"14.000", "14.350", "28.000", "29.700"} {
			require.True(t, covered[edge], "%s lacks %s MHz", name, edge)
		}
	}
}

func magnitude(swr float64) float64 { return (swr - 1) / (swr + 1) }
