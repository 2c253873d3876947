package phone

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"fairlobe/stages/schedule"
)

// targets gives what a finger must hit and is smaller than 56 px, and what is wrong with the page otherwise.
const targets = `[...document.querySelectorAll("button, summary, select, input[type=text], textarea, .pick")].filter(e => e.checkVisibility() && e.getBoundingClientRect().height < 56).map(e => "small target: " + e.tagName + " " + e.textContent.slice(0, 40))`

// The same page in each state, theme and size of letters, judged by the rules that the report's page is judged by.
func TestLook(t *testing.T) {
	rules, err := os.ReadFile("../../report/testdata/look.js")
	require.NoError(t, err)
	p := trialPlan()
	p.Arms = []string{"low", "a wire with a very long name, fed at nine metres above the ridge"}
	p.Bands = []string{"20m", "10m"}
	planned := drawn(t, p)
	long := params()
	long.Title = "A title that is long: " + strings.Repeat("feedpointheight", 6)
	file := pageFile(t, planned, long)
	s := newScreen(t, t.TempDir())
	send(s, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
	requests := watch(s)
	for _, c := range []struct {
		name, theme, size string
		width             int64
		at                time.Duration
		axe               bool
	}{
		{"light", "light", "100%", 390, -5 * minute, true},
		{"dark", "dark", "100%", 390, 2 * minute, true},
		{"large text", "light", "200%", 390, 2 * minute, true},
		{"narrow", "dark", "100%", 320, 2 * minute, false},
		{"wide", "light", "100%", 1280, 2 * minute, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := &screen{t: t, ctx: s.ctx}
			send(s, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: c.theme}}})
			s.do(chromedp.EmulateViewport(c.width, 844, chromedp.EmulateMobile, chromedp.EmulateTouch))
			requests()
			s.open(file, planned[0].Start.Add(c.at))
			eval[string](s, `document.documentElement.style.fontSize = "`+c.size+`"`)
			eval[bool](s, `document.querySelectorAll("details").forEach(d => { d.open = true; }), true`)
			s.wait(`document.querySelector("#dwells li") !== null`)
			said := append(eval[[]string](s, string(rules)), eval[[]string](s, targets)...)
			picture(s, c.name)
			require.Equal(t, "4px", eval[string](s, `document.querySelector("#note summary").focus({focusVisible: true}), getComputedStyle(document.activeElement).outlineWidth`))
			require.Empty(t, said)
			for _, url := range requests() {
				require.Equal(t, "file://"+file, url, "the page loads nothing else")
			}
			if c.axe {
				axe(s)
			}
		})
	}
}

// On paper each session is a table on pages of its own, and nothing of the screen is left.
func TestPaper(t *testing.T) {
	planned := drawn(t, trialPlan())
	s := newScreen(t, t.TempDir())
	s.open(pageFile(t, planned, params()), planned[0].Start)
	send(s, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print", Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}})
	require.False(t, eval[bool](s, `document.querySelector(".app").checkVisibility()`))
	require.Equal(t, len(planned), eval[int](s, `[...document.querySelectorAll(".sheet tbody tr")].filter(e => e.checkVisibility()).length`))
	require.Equal(t, "page", eval[string](s, `getComputedStyle(document.querySelectorAll(".sheet")[1]).breakBefore`))
	require.Equal(t, "rgb(255, 255, 255)", eval[string](s, `getComputedStyle(document.body).backgroundColor`))
	pdf, err := chromedp.Run(s.ctx, chromedp.PrintToPDF())
	require.NoError(t, err)
	require.GreaterOrEqual(t, bytes.Count(pdf, []byte("/Type /Page\n"))+bytes.Count(pdf, []byte("/Type /Page/")), 2, "two sessions")
	if folder := os.Getenv("FAIRLOBE_PICTURES"); folder != "" {
		require.NoError(t, os.WriteFile(filepath.Join(folder, "phone paper.pdf"), pdf, 0o644))
	}
}

// Without scripts the page says so, and shows the table.
func TestWithoutScripts(t *testing.T) {
	planned := drawn(t, trialPlan())
	s := newScreen(t, t.TempDir())
	send(s, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	s.do(chromedp.Navigate("file://" + pageFile(t, planned, params())))
	text := eval[string](s, `document.body.innerText`)
	require.Contains(t, text, "Scripts are off")
	require.Equal(t, 1, strings.Count(text, "Session 2 (one of 2)"))
	require.NotContains(t, text, "Write down")
}

// What stands in the file can't become markup or script.
func TestHostileNames(t *testing.T) {
	p := trialPlan()
	hostile := `</script><img src=x onerror="document.title='caught'"><!--<script>`
	p.Arms, p.Bands = []string{"low", hostile}, []string{`20m"><b id=bold>`}
	planned := drawn(t, p)
	q := params()
	q.Title, q.Cautions = hostile, []string{hostile}
	s := newScreen(t, t.TempDir())
	at := planned[0].Start.Add(minute)
	if planned[0].Arm == "low" {
		at = planned[1].Start.Add(minute)
	}
	s.open(pageFile(t, planned, q), at)
	require.Equal(t, hostile, s.text("arm"))
	s.tap("#confirm")
	s.tap("#list summary")
	s.wait(`document.querySelector("#dwells li") !== null`)
	require.Equal(t, 0, eval[int](s, `document.querySelectorAll("img, #bold").length`))
	require.Equal(t, hostile, eval[string](s, `document.title`))
	require.Contains(t, s.log(), `"`+strings.ReplaceAll(hostile, `"`, `""`)+`"`)
}

func TestWrite(t *testing.T) {
	planned := drawn(t, trialPlan())
	var first, second bytes.Buffer
	require.NoError(t, Write(&first, planned, params()))
	require.NoError(t, Write(&second, planned, params()))
	require.Equal(t, first.String(), second.String())
	require.Contains(t, first.String(), "default-src &#39;none&#39;")
	require.NotContains(t, first.String(), "unsafe-inline")
	require.ErrorContains(t, Write(full{}, planned, params()), "writing the page: no room")
	require.ErrorContains(t, Write(&first, []schedule.Dwell{}, params()), "the schedule has no dwell")
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room") }

// picture saves what the page looks like into the folder that FAIRLOBE_PICTURES names, for people.
func picture(s *screen, name string) {
	s.t.Helper()
	folder := os.Getenv("FAIRLOBE_PICTURES")
	if folder == "" {
		return
	}
	png, err := chromedp.Run(s.ctx, chromedp.FullScreenshot(100))
	require.NoError(s.t, err)
	require.NoError(s.t, os.WriteFile(filepath.Join(folder, "phone "+name+".png"), png, 0o644))
}

// watch gives a function that tells which addresses were asked for since it was called last.
func watch(s *screen) func() []string {
	s.t.Helper()
	var mu sync.Mutex
	var asked []string
	send(s, network.Enable, network.EnableParams{})
	require.NoError(s.t, chromedp.Listen(s.ctx, func(event any) {
		if e, ok := event.(*network.EventRequestWillBeSent); ok {
			mu.Lock()
			defer mu.Unlock()
			asked = append(asked, e.Request.URL)
		}
	}))
	return func() []string {
		mu.Lock()
		defer mu.Unlock()
		was := asked
		asked = nil
		return was
	}
}

// axe runs the accessibility checker in the file that FAIRLOBE_AXE names, if it names one.
func axe(s *screen) {
	s.t.Helper()
	file := os.Getenv("FAIRLOBE_AXE")
	if file == "" {
		return
	}
	script, err := os.ReadFile(file)
	require.NoError(s.t, err)
	eval[bool](s, string(script)+";true")
	const run = `axe.run().then(r => r.violations.map(v => v.id + ": " + v.help + ": " + v.nodes.slice(0, 3).map(n => n.html.slice(0, 120)).join(" | ")))`
	said, err := chromedp.Run(s.ctx, chromedp.Evaluate[[]string](run, chromedp.EvalAwaitPromise))
	require.NoError(s.t, err)
	require.Empty(s.t, said)
}
