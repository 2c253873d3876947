package phone

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"fairlobe/stages/schedule"
)

// chromium gives the browser's path, or skips the test where there is none; FAIRLOBE_BROWSER=required makes that a
// failure.
func chromium(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			return found
		}
	}
	if os.Getenv("FAIRLOBE_BROWSER") == "required" {
		t.Fatal("FAIRLOBE_BROWSER=required, and there is no chromium")
	}
	t.Skip("no chromium: the page is not tried in a browser")
	return ""
}

// screen is the page on a phone whose clock stands still until the test moves it.
type screen struct {
	t   *testing.T
	ctx context.Context
	end func()
}

// stillClock is put before the page's script: the time is what the test last said, also after a reload.
const stillClock = `(() => {
  const Real = Date;
  let now = Number(window.name) || Real.UTC(2026, 0, 1);
  window.Date = class extends Real {
    constructor(...a) { if (a.length) super(...a); else super(now); }
    static now() { return now; }
  };
  window.moveClock = ms => { now = ms; window.name = String(ms); document.dispatchEvent(new Event("visibilitychange")); };
})();`

// hurry lets the page take localStorage for written at once; it is for tests that do not kill the browser.
const hurry = `window.unhurried = window.setTimeout; window.setTimeout = (f, ms, ...a) => unhurried(f, ms === 8000 ? 0 : ms, ...a);`

// newScreen starts the browser on a profile folder, with no way to a network. Scripts are run before the page's own.
func newScreen(t *testing.T, profile string, scripts ...string) *screen {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium(t)), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-background-networking", true), chromedp.ProxyServer("127.0.0.1:1"), chromedp.UserDataDir(profile))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, end := chromedp.NewContext(allocator)
	s := &screen{t: t, ctx: ctx, end: sync.OnceFunc(func() { end(); stop() })}
	t.Cleanup(s.end)
	s.do(chromedp.Navigate("about:blank"))
	for _, script := range append([]string{stillClock, hurry}, scripts...) {
		send(s, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script})
	}
	s.do(chromedp.EmulateViewport(390, 844, chromedp.EmulateMobile, chromedp.EmulateTouch))
	return s
}

func (s *screen) do(steps ...chromedp.Action[chromedp.Void]) {
	s.t.Helper()
	require.NoError(s.t, chromedp.Do(s.ctx, steps...))
}

func send[P, R any](s *screen, cmd cdp.Command[P, R], params P) {
	s.t.Helper()
	_, err := chromedp.Call(s.ctx, cmd, params)
	require.NoError(s.t, err)
}

func eval[T any](s *screen, js string) T {
	s.t.Helper()
	v, err := chromedp.Run(s.ctx, chromedp.Evaluate[T](js))
	require.NoError(s.t, err, js)
	return v
}

// wait waits for a condition in the page.
func (s *screen) wait(js string) {
	s.t.Helper()
	for range 3000 {
		if eval[bool](s, js) {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	s.t.Fatalf("never true: %s\nthe page says: %s", js, eval[string](s, `document.body.innerText`))
}

// open loads the page and waits until it has read its log.
func (s *screen) open(file string, at time.Time) {
	s.t.Helper()
	s.do(chromedp.Navigate("file://" + file))
	s.at(at)
	s.ready()
}

func (s *screen) ready() {
	s.t.Helper()
	s.wait(`document.getElementById("heading").textContent !== "Reading the log"`)
}

func (s *screen) at(t time.Time) {
	s.t.Helper()
	eval[bool](s, fmt.Sprintf(`moveClock(%d), true`, t.UnixMilli()))
}

func (s *screen) text(id string) string {
	s.t.Helper()
	return eval[string](s, fmt.Sprintf(`document.getElementById(%q).hidden ? "" : document.getElementById(%q).textContent`, id, id))
}

// tap touches the middle of what a selector finds, as a finger does. The page may move between the look and the touch: a touch
// that another element got is a fault of the test, and said so.
func (s *screen) tap(selector string) {
	s.t.Helper()
	s.wait(fmt.Sprintf(`!!document.querySelector(%q)?.checkVisibility()`, selector))
	at := eval[[]float64](s, fmt.Sprintf(`(() => {
  const e = document.querySelector(%q);
  e.scrollIntoView({block: "center", behavior: "instant"});
  const b = e.getBoundingClientRect();
  return [b.left + b.width / 2, b.top + b.height / 2];
})()`, selector))
	eval[bool](s, fmt.Sprintf(`window.touched = "", addEventListener("click", e => {
  window.touched = e.target.closest(%q) ? "it" : e.target.outerHTML.slice(0, 200);
}, {capture: true, once: true}), true`, selector))
	send(s, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: "touchStart", TouchPoints: []*input.TouchPoint{{X: at[0], Y: at[1]}}})
	send(s, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: "touchEnd", TouchPoints: []*input.TouchPoint{}})
	s.wait(`window.touched !== ""`)
	require.Equal(s.t, "it", eval[string](s, `window.touched`), "the finger missed %s", selector)
}

// fill puts text into a field, as a keyboard does.
func (s *screen) fill(id, text string) {
	s.t.Helper()
	quoted, err := json.Marshal(text)
	require.NoError(s.t, err)
	eval[bool](s, fmt.Sprintf(`(() => { const e = document.getElementById(%q); e.value = %s; e.dispatchEvent(new Event("input", {bubbles: true})); return true; })()`, id, quoted))
}

// log gives the log as the page shows it. While it is open, it follows each line.
func (s *screen) log() string {
	s.t.Helper()
	if !eval[bool](s, `document.getElementById("text").open`) {
		eval[bool](s, `document.getElementById("log").value = "", true`) // copying filled it, and opening fills it anew a moment later
		s.tap("#text summary")
	}
	s.wait(`document.getElementById("log").value !== ""`)
	return eval[string](s, `document.getElementById("log").value`)
}

// trialPlan has two sessions; the first goes over midnight at the end of a year.
func trialPlan() schedule.Plan {
	const minute = 60_000
	return schedule.Plan{Seed: 11, Arms: []string{"low", "high"}, Bands: []string{"20m"}, DwellMs: 6 * minute, SettleMs: minute / 2,
		ArmChangeMs: 3 * minute, BandChangeMs: minute, SlotMs: 15_000, Pattern: schedule.Pairs, Rotate: schedule.BandsWithinArm,
		Sessions: []schedule.Session{
			{StartMs: time.Date(2026, 12, 31, 23, 0, 0, 0, time.UTC).UnixMilli(), Blocks: 7},
			{StartMs: time.Date(2027, 1, 2, 4, 0, 0, 0, time.UTC).UnixMilli(), Blocks: 3},
		}}
}

func drawn(t *testing.T, p schedule.Plan) []schedule.Dwell {
	t.Helper()
	dwells, err := schedule.Draw(p)
	require.NoError(t, err)
	return dwells
}

func params() Params {
	return Params{Title: "Ridge wire: feedpoint at 4.5 m against 9 m", Experiment: "a", SlotMs: 15_000, SettleMs: 30_000, Sends: schedule.EvenSlots,
		Cautions: []string{"Keep masts and wires away from power lines.", "Leave when you hear thunder."}}
}

// pageFile writes the page into a folder of the test.
func pageFile(t *testing.T, dwells []schedule.Dwell, p Params) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "page.html")
	file, err := os.Create(name)
	require.NoError(t, err)
	require.NoError(t, Write(file, dwells, p))
	require.NoError(t, file.Close())
	return name
}
