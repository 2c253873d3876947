package phone

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/dwells"
	"fairlobe/stages/schedule"
)

// line is one line of the log as the page keeps it.
type line struct {
	ID      string `json:"id"`
	Time    int64  `json:"time"`
	Entered int64  `json:"entered"`
	Event   string `json:"event"`
	Session int    `json:"session"`
	Band    string `json:"band"`
	Block   int    `json:"block"`
	Arm     string `json:"arm"`
	Value   string `json:"value"`
	Note    string `json:"note"`
}

// randomLog gives lines as the page may write them, in any order of events.
func randomLog(draw *rand.Rand, planned []schedule.Dwell) []line {
	var out []line
	entered := int64(0)
	for _, d := range planned {
		at := func(minutes int) int64 { return d.Start.UnixMilli() + int64(draw.IntN(minutes*60_000)) - 60_000 }
		add := func(l line) {
			l.Session, l.Time = d.Session, max(l.Time, entered)
			entered = l.Time
			l.Entered, l.ID = entered, fmt.Sprintf("%015d %06d", entered, len(out))
			if l.Event == dwells.End && draw.IntN(2) == 0 {
				l.Session = 0
			}
			out = append(out, l)
		}
		switch draw.IntN(50) {
		case 0, 1:
			add(line{Event: dwells.Clock, Time: at(1), Value: strconv.FormatFloat(float64(draw.IntN(280)-140)/10, 'f', -1, 64)})
		case 2, 3, 4:
			add(line{Event: dwells.Pause, Time: at(9)})
			if draw.IntN(4) > 0 {
				add(line{Event: dwells.Resume, Time: at(20)})
			}
		case 5:
			add(line{Event: dwells.Drop, Time: at(9), Band: []string{"", d.Band}[draw.IntN(2)], Block: d.Block, Note: "rain"})
		case 6:
			if draw.IntN(3) == 0 {
				add(line{Event: dwells.End, Time: at(9)})
			}
		case 7, 8:
			if d.Block == 1 {
				add(line{Event: dwells.Start, Time: at(20)})
			}
		}
		if draw.IntN(5) > 0 {
			add(line{Event: dwells.Connected, Time: at([]int{1, 2, 8}[draw.IntN(3)]), Band: d.Band, Block: d.Block, Arm: d.Arm})
		}
	}
	return out
}

// What the page lists is what the analysis finds, for logs of all kinds: the rules stand twice, in Go and in the page.
func TestFollowsAsTheAnalysis(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("many logs")
	}
	base := trialPlan()
	base.Bands, base.Pattern = []string{"20m", "10m"}, schedule.Mirrored
	base.Sessions[0].Blocks, base.Sessions[1].Blocks = 3, 2
	base.Sessions[1].StartMs = base.Sessions[0].StartMs + (3*time.Hour + 18*minute).Milliseconds()
	s := newScreen(t, t.TempDir())
	s.open(pageFile(t, drawn(t, base), params()), time.UnixMilli(base.Sessions[0].StartMs))
	draw := rand.New(rand.NewPCG(5, 2))
	seen, overlaps := map[string]int{}, 0
	for n := range 12 {
		plan, p := base, params()
		plan.Seed, p.Experiment = uint64(n), fmt.Sprint("trial ", n)
		planned := drawn(t, plan)
		log := randomLog(draw, planned)
		key, err := key(planned, p)
		require.NoError(t, err)
		file := pageFile(t, planned, p)
		text, err := json.Marshal(log)
		require.NoError(t, err)
		eval[bool](s, fmt.Sprintf(`(() => { for (const l of %s) localStorage.setItem("fairlobe %s line " + l.id, JSON.stringify(l)); return true; })()`, text, key))
		s.open(file, planned[0].Start)
		s.wait(`document.getElementById("kept").textContent.includes("saved on this phone") || ` + strconv.FormatBool(len(log) == 0))
		eval[bool](s, `document.querySelectorAll("#text, #list").forEach(d => { d.open = true; }), true`)
		s.wait(`document.getElementById("log").value !== "" && document.querySelector("#dwells li") !== null`)
		events, faults := dwells.ReadLog(strings.NewReader(eval[string](s, `document.getElementById("log").value`)), "switches.csv")
		require.Empty(t, faults)
		require.Len(t, events, len(log))
		o, list := dwells.Apply(planned, events, dwells.Params{SlotMs: p.SlotMs, SettleMs: p.SettleMs, Sends: p.Sends})
		if faults := list.Faults(); len(faults) > 0 {
			require.False(t, slices.ContainsFunc(faults, func(d diag.Diag) bool { return d.Code != dwells.CodeOverlap }), faults.Error())
			overlaps++
			require.Contains(t, s.text("about"), "A log in which they overlap is refused")
			continue
		}
		shown := eval[[]string](s, `[1, 2].flatMap(n => {
  document.querySelector("#sessions button:nth-child(" + n + ")").click();
  return [...document.querySelectorAll("#dwells li")].map(e => e.textContent);
})`)
		require.Len(t, shown, len(planned))
		for i, d := range o.Dwells {
			said := fmt.Sprintf("log %d, dwell %d: %s; %+v", n, i, shown[i], d)
			code, _, _ := strings.Cut(d.Reason, ":")
			seen[code]++
			require.Contains(t, shown[i], d.Start.Format("15:04:05Z")+" "+d.Arm+", "+d.Band+", ", said)
			if strings.Contains(d.Reason, "not resumed") {
				continue // the page still hopes for the other end of the pause
			}
			for _, one := range []string{dwells.NotRun, dwells.PausedInside, dwells.Dropped, dwells.LateSwitch} {
				require.Equal(t, one == code, strings.Contains(shown[i], ": "+one), said)
			}
			require.Equal(t, d.LeadingSlotsRemoved > 0, strings.Contains(shown[i], plural(d.LeadingSlotsRemoved, "slot")+" taken away"), said)
			require.Equal(t, d.Confirmed, strings.Contains(shown[i], "connected "+confirmedAt(d)), said)
			if d.LeadingSlotsRemoved > 0 {
				seen["slots taken away"]++
			}
		}
	}
	t.Logf("%v, %d times two sessions overlap", seen, overlaps)
	for _, what := range []string{"", dwells.NotRun, dwells.PausedInside, dwells.Dropped, dwells.LateSwitch, "slots taken away"} {
		require.Greater(t, seen[what], 10, "%q must occur: %v", what, seen)
	}
	require.Positive(t, overlaps)
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprint(n, " ", what, "s")
}

// confirmedAt is the time of a late connection; nothing is known of one in time.
func confirmedAt(d dwells.Applied) string {
	if d.LateS == 0 {
		return ""
	}
	return d.Start.Add(time.Duration(d.LateS * float64(time.Second))).Format("15:04:05Z")
}
