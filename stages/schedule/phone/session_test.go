package phone

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"fairlobe/stages/dwells"
)

const minute = time.Minute

// counters count what the page asks of the phone.
const counters = `window.buzzed = window.locked = window.persisted = 0;
navigator.vibrate = () => { window.buzzed++; return true; };
navigator.storage.persist = async () => { window.persisted++; return true; };
navigator.wakeLock.request = async () => { window.locked++; return { released: false }; };`

// A trial with everything that goes wrong, by touch; then the analysis must make of the log what the page showed.
func TestTrialByTouch(t *testing.T) {
	t.Parallel()
	planned := drawn(t, trialPlan())
	file := pageFile(t, planned, params())
	s := newScreen(t, t.TempDir(), counters)
	send(s, emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: "Pacific/Kiritimati"})
	start := func(i int) time.Time { return planned[i].Start }

	s.open(file, start(0).Add(-25*time.Hour))
	require.Empty(t, s.text("confirm"), "a day before nothing is confirmed")
	require.Equal(t, "1 day 1 h", s.text("timer"))
	s.at(start(0).Add(-10 * minute))
	require.Equal(t, "Connect first", s.text("heading"))
	require.Equal(t, planned[0].Arm, s.text("arm"))
	require.Equal(t, "10:00", s.text("timer"))
	s.tap("#comparing summary")
	s.fill("offset", "0,2")
	require.Contains(t, s.text("follows"), "nothing is corrected")
	s.tap("#clockform button[type=submit]")
	s.tap("#readings summary")
	s.tap(`input[value="battery"]`)
	s.fill("readvalue", "13.2")
	s.tap("#readform button")

	require.Equal(t, []int{1, 1}, eval[[]int](s, `[locked, persisted]`), "asked for at the first touch")

	// block 1: the second arm 65 s late, the page closed and opened again in the middle
	s.at(start(0).Add(-minute))
	s.tap("#confirm")
	require.Equal(t, "Connected: wait", s.text("heading"))
	s.at(start(0).Add(minute))
	require.Equal(t, "Connected now: stay on", s.text("heading"))
	require.Equal(t, "5:00", s.text("timer"))
	require.Equal(t, "On the air: "+planned[0].Arm+", 20m.", s.text("change"))
	require.Contains(t, s.text("next"), "Next: "+planned[1].Arm+", 20m, at "+start(1).Format("15:04:05Z"))
	s.wait(`document.getElementById("kept").textContent === "All 3 lines are saved on this phone."`)
	s.do(chromedp.Reload())
	s.ready()
	require.Equal(t, "Connected now: stay on", s.text("heading"))
	require.Equal(t, "All 3 lines are saved on this phone.", s.text("kept"))
	s.at(start(1).Add(65 * time.Second))
	require.Equal(t, "Connect now", s.text("heading"))
	require.Contains(t, s.text("change"), "Connect now: "+planned[1].Arm)
	require.Equal(t, 1, eval[int](s, `buzzed`), "since the page was opened again")
	s.tap("#confirm")
	require.Contains(t, s.text("said"), "2 slots of 11 are taken from each dwell of the block")

	// block 2: the second dwell is never confirmed
	s.at(start(2).Add(-20 * time.Second))
	s.tap("#confirm")
	s.at(start(3).Add(5 * minute))
	// block 3: the wrong arm
	s.at(start(4).Add(-20 * time.Second))
	require.Contains(t, s.text("about"), "1 dwell of this session not confirmed")
	s.tap("#confirm")
	s.at(start(4).Add(2 * minute))
	s.tap("#drop summary")
	s.tap(`input[value="wrong arm noticed"]`)
	s.tap("#dropform button")
	require.Contains(t, s.text("about"), "dropped: wrong arm noticed")
	s.at(start(5).Add(-minute))
	s.tap("#confirm")

	// block 4: confirmed too early, taken back, confirmed again in time; the second one tapped late though it was in time
	s.at(start(6).Add(-2 * minute))
	s.tap("#confirm")
	s.tap("#undo")
	require.Equal(t, "Change to", s.text("heading"))
	require.Contains(t, s.text("about"), "the analysis still counts it")
	s.at(start(6).Add(-minute))
	s.tap("#confirm")
	s.at(start(7).Add(3 * minute))
	s.tap("#earlier")
	require.Equal(t, "Connected now: stay on", s.text("heading"))

	// a pause of ten minutes between the blocks
	s.at(start(7).Add(7 * minute))
	s.tap("#pausing summary")
	require.Contains(t, s.text("pausesays"), "nothing is lost")
	s.tap("#pauseform button")
	require.Contains(t, s.text("heading"), "Paused")
	s.at(start(7).Add(17 * minute))
	s.tap("#resume")
	later := func(i int) time.Time { return start(i).Add(10 * minute) }

	// block 5; then the log is asked for
	for _, i := range []int{8, 9} {
		s.at(later(i).Add(-10 * time.Second))
		require.Equal(t, "0:10", s.text("timer"))
		s.tap("#confirm")
	}
	require.Empty(t, s.text("ask"))
	s.at(later(9).Add(6*minute + time.Second))
	require.Contains(t, s.text("ask"), "5 blocks since the log was last saved")
	require.Contains(t, s.saved(), ",connected,")
	require.Empty(t, s.text("ask"))
	s.tap("#copy")
	s.wait(`document.getElementById("said").textContent.includes("The log is copied")`)
	s.tap("#sound")
	require.Equal(t, "true", eval[string](s, `document.getElementById("sound").ariaPressed`))

	// block 6 is lost by a switch that came four minutes late; block 7 by a pause inside it
	s.at(later(10).Add(-minute))
	s.tap("#confirm")
	s.at(later(11).Add(4 * minute))
	s.tap("#confirm")
	require.Contains(t, s.text("said"), "the block is lost (late switch: 4 of 11 slots left)")
	s.at(later(12).Add(-minute))
	s.tap("#confirm")
	s.at(later(12).Add(3 * minute))
	s.tap("#pausing summary")
	require.Contains(t, s.text("pausesays"), "drops what is under way: block 7, 20m")
	s.tap("#pauseform button")
	s.at(later(12).Add(4*minute + 7*time.Second))
	s.tap("#resume")
	s.tap("#note summary")
	s.fill("notetext", "  the mast \"leans\", \n a little ")
	s.tap("#noteform button[value=deviation]")
	s.fill("notetext", "ö — <b>wind</b>")
	s.tap("#noteform button[value=remark]")
	s.at(later(13).Add(20 * minute))
	require.Equal(t, "Connect first", s.text("heading"), "the next session is chosen by itself")

	// session 2 begins seven minutes late, on a clock 2 s ahead; it is ended after block 2
	at := func(i int) time.Time { return start(i).Add(7*minute + 15*time.Second) }
	onPhone := func(t time.Time) time.Time { return t.Add(2 * time.Second) }
	s.at(onPhone(start(14).Add(6 * minute)))
	s.tap("#comparing summary")
	s.fill("offset", "2")
	require.Contains(t, s.text("follows"), "corrected by \u22122 s")
	s.tap("#clockform button[type=submit]")
	s.at(onPhone(start(14).Add(7*minute + 4*time.Second)))
	s.tap("#start")
	require.Contains(t, s.text("said"), "the first slot is at "+at(14).Format("15:04:05Z"))
	for i := 14; i < 18; i++ {
		s.at(onPhone(at(i).Add(-5 * time.Second)))
		require.Equal(t, "0:05", s.text("timer"))
		s.tap("#confirm")
	}
	s.at(onPhone(at(17).Add(6*minute + 10*time.Second)))
	shown := shownDwells(s)
	s.tap("#ending summary")
	s.tap("#endform button[value=trial]")
	require.Equal(t, "Ended", s.text("heading"))
	s.wait(`document.getElementById("kept").textContent.startsWith("All ")`)
	text := s.log()
	require.Equal(t, text, s.saved())

	events, faults := dwells.ReadLog(strings.NewReader(text), "switches.csv")
	require.Empty(t, faults)
	require.Len(t, events, strings.Count(text, "\n")-1)
	p := dwells.Params{SlotMs: 15_000, SettleMs: 30_000, Sends: params().Sends, File: "switches.csv"}
	o, list := dwells.Apply(planned, events, p)
	require.Empty(t, list.Faults())

	reasons := map[int]string{ // index of a block's first dwell -> reason
		0: "", 2: "", 4: "dropped: wrong arm noticed", 6: "", 8: "", 10: "late switch: " + planned[11].Arm + " was connected 240 s after its dwell began, 4 of 11 slots left",
		12: "paused inside", 14: "", 16: "", 18: "not run: ended before",
	}
	for i, d := range o.Dwells {
		require.Equal(t, reasons[i/2*2], d.Reason, "dwell %d", i)
		require.Equal(t, reasons[i/2*2] == "", d.Kept)
		require.Equal(t, map[int]int{0: 2, 1: 2}[i], d.LeadingSlotsRemoved, "dwell %d", i)
		require.Equal(t, i != 3 && i != 13 && i < 18, d.Confirmed, "dwell %d", i)
	}
	require.Equal(t, 600.0+90, o.Sessions[0].PausedS, "the second pause, of 67 s, moves what follows by whole pairs of slots")
	require.Equal(t, 435.0, o.Sessions[1].ShiftS)
	require.Equal(t, 2.0, o.Sessions[1].ClockOffsetS)
	require.True(t, o.Ended && o.EndedEarly)
	for i := 14; i < 18; i++ {
		require.True(t, at(i).Equal(o.Dwells[i].Start), "dwell %d", i)
		require.Zero(t, o.Dwells[i].LateS)
	}
	notes := ""
	for _, n := range o.Notes {
		notes += n.Kind + ": " + n.Note + "\n"
	}
	require.Contains(t, notes, "deviation: the mast \"leans\", a little\n")
	require.Contains(t, notes, "remark: ö — <b>wind</b>\n")
	require.Contains(t, notes, "deviation: taken back: the line connected of "+start(6).Add(-2*minute).Format("2006-01-02T15:04:05.000Z")+" is a mistake\n")

	// What the page listed before the end is what the analysis finds.
	require.Len(t, shown, len(planned))
	for i, d := range o.Dwells {
		require.Contains(t, shown[i], d.Start.Format("15:04:05Z")+" "+d.Arm+", 20m, block ", "dwell %d", i)
		if code, _, _ := strings.Cut(d.Reason, ":"); d.Reason != "" && i < 18 {
			require.Contains(t, shown[i], code, "dwell %d", i)
		}
		require.Equal(t, d.LeadingSlotsRemoved > 0, strings.Contains(shown[i], "2 slots taken away"), "dwell %d", i)
		require.Equal(t, d.Confirmed, strings.Contains(shown[i], "connected "), "dwell %d: %s", i, shown[i])
	}
}

// shownDwells gives the lines of the schedule as the page lists them, session after session.
func shownDwells(s *screen) []string {
	s.t.Helper()
	s.tap("#list summary")
	var out []string
	for _, which := range []string{"1", "2"} {
		s.tap("#sessions button:nth-child(" + which + ")")
		out = append(out, eval[[]string](s, `[...document.querySelectorAll("#dwells li")].map(e => e.textContent)`)...)
	}
	return out
}

// saved saves the log by touch, into a folder of its own, and gives what the browser put there. The browser writes to another
// name and renames, so a file under its own name is whole.
func (s *screen) saved() string {
	s.t.Helper()
	folder := s.t.TempDir()
	_, err := chromedp.CallBrowser(s.ctx, browser.SetDownloadBehavior, browser.SetDownloadBehaviorParams{Behavior: "allow", DownloadPath: folder})
	require.NoError(s.t, err)
	s.tap("#save")
	for range 6000 { // a minute, for a busy machine
		if text, err := os.ReadFile(filepath.Join(folder, "switches.csv")); err == nil && len(text) > 0 {
			return string(text)
		}
		time.Sleep(10 * time.Millisecond)
	}
	there, err := os.ReadDir(folder)
	s.t.Fatalf("nothing was saved: %v in the folder (%v), and the page says %q", there, err, s.text("said"))
	return ""
}

// An offset beyond half the settling time would make the analysis refuse the log.
func TestClockTooFarOff(t *testing.T) {
	planned := drawn(t, trialPlan())
	s := newScreen(t, t.TempDir())
	s.open(pageFile(t, planned, params()), planned[0].Start.Add(-5*minute+1300*time.Millisecond))
	s.tap("#comparing summary")
	s.tap("#minute")
	require.Equal(t, "1.3", eval[string](s, `document.getElementById("offset").value`))
	s.fill("offset", "-20.5")
	require.Contains(t, s.text("follows"), "20.5 s behind UTC, more than half the settling time (15 s)")
	s.tap("#clockform button[type=submit]")
	text := s.log()
	require.Contains(t, text, ",deviation,1,,,,,")
	require.NotContains(t, text, ",clock,")
	events, faults := dwells.ReadLog(strings.NewReader(text), "switches.csv")
	require.Empty(t, faults)
	_, list := dwells.Apply(planned, events, dwells.Params{SlotMs: 15_000, SettleMs: 30_000, Sends: params().Sends})
	require.Empty(t, list.Faults())

	// A reason that looks at signals is not taken.
	s.at(planned[0].Start.Add(minute))
	s.tap("#drop summary")
	s.tap(`input[name="why"][value=""]`)
	s.fill("droptext", "weak reports, strong wind")
	s.tap("#dropform button")
	require.Contains(t, s.text("said"), "seems to look at signals")
	s.fill("droptext", "strong wind")
	s.tap("#dropform button")
	require.Contains(t, s.log(), ",drop,1,20m,1,"+planned[0].Arm+",,strong wind\n")
}
