package phone

import (
	"fmt"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"fairlobe/stages/dwells"
)

const (
	noLocalStorage = `Object.defineProperty(window, "localStorage", {get() { throw new DOMException("refused", "SecurityError"); }});`
	noIndexedDB    = `Object.defineProperty(window, "indexedDB", {get() { throw new DOMException("refused", "SecurityError"); }});`
	// fullLater makes both stores refuse new lines from the moment at which the test says so.
	fullLater = `{
  const stop = (what, name) => { const was = what[name]; what[name] = function (...a) { if (window.isFull) throw new DOMException("full", "QuotaExceededError"); return was.apply(this, a); }; };
  stop(Storage.prototype, "setItem");
  stop(IDBObjectStore.prototype, "put");
}`
)

func TestStorageRefused(t *testing.T) {
	t.Parallel()
	planned := drawn(t, trialPlan())
	file := pageFile(t, planned, params())
	for _, c := range []struct {
		reason, script, kept string
		banner               bool
	}{
		{"nothing is kept", noLocalStorage + noIndexedDB, "1 line, not saved on this phone.", true},
		{"the simple one only", noIndexedDB, "The 1 line is kept by this browser, in one place only.", false},
		{"the strong one only", noLocalStorage, "The 1 line is saved on this phone.", false},
	} {
		t.Run(c.reason, func(t *testing.T) {
			s := newScreen(t, t.TempDir(), c.script)
			s.open(file, planned[0].Start.Add(-minute))
			s.wait(fmt.Sprintf(`document.getElementById("refused").hidden === %v`, !c.banner))
			s.tap("#confirm")
			s.wait(fmt.Sprintf(`document.getElementById("kept").textContent === %q`, c.kept))
			text := s.log()
			require.Equal(t, 2, strings.Count(text, "\n"))
			if !c.banner {
				s.do(chromedp.Reload())
				s.ready()
				require.Equal(t, text, s.log())
				return
			}
			require.Contains(t, s.text("refused"), "refuses to keep the log")
			require.Equal(t, "alert", eval[string](s, `document.getElementById("refused").role`))
		})
	}
}

func TestStorageGetsFull(t *testing.T) {
	planned := drawn(t, trialPlan())
	s := newScreen(t, t.TempDir(), fullLater)
	s.open(pageFile(t, planned, params()), planned[0].Start.Add(-minute))
	s.tap("#confirm")
	s.wait(`document.getElementById("kept").textContent === "The 1 line is saved on this phone."`)
	require.Empty(t, s.text("refused"))
	eval[bool](s, `window.isFull = true`)
	s.at(planned[1].Start.Add(-minute))
	s.tap("#confirm")
	s.wait(`!document.getElementById("refused").hidden`)
	require.Equal(t, "2 lines, not saved on this phone.", s.text("kept"))
	require.Equal(t, 3, strings.Count(s.log(), "\n"))
}

// Two trials on one phone keep their logs apart, and two open pages of one trial share theirs.
func TestTrialsDoNotMix(t *testing.T) {
	planned := drawn(t, trialPlan())
	other := trialPlan()
	other.Seed = 12
	s := newScreen(t, t.TempDir())
	first := pageFile(t, planned, params())
	s.open(first, planned[0].Start.Add(-minute))
	s.tap("#confirm")
	s.wait(`document.getElementById("kept").textContent === "The 1 line is saved on this phone."`)
	elsewhere := params()
	elsewhere.Experiment = "b"
	for _, file := range []string{pageFile(t, drawn(t, other), params()), pageFile(t, planned, elsewhere)} {
		s.open(file, planned[0].Start.Add(-minute))
		require.Equal(t, "No line yet.", s.text("kept"))
	}
	s.open(first, planned[0].Start.Add(-minute))
	require.Equal(t, "The 1 line is saved on this phone.", s.text("kept"))

	tab, end := chromedp.NewContext(s.ctx)
	defer end()
	again := &screen{t: t, ctx: tab}
	again.do(chromedp.Navigate("file://" + first))
	again.wait(`document.getElementById("count").textContent.startsWith("1 line.")`)
	s.tap("#undo")
	again.wait(`document.getElementById("count").textContent.startsWith("2 lines.")`)
}

var savedLines = regexp.MustCompile(`All (\d+) lines are saved|The (1) line is saved|Saving: (\d+) of`)

// The browser is killed between and inside entries. What the page called saved must be there when it is opened again,
// though Chromium now and then drops its whole database when it is killed.
func TestKilled(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("starts a browser over and over")
	}
	planned := drawn(t, trialPlan())
	file, profile := pageFile(t, planned, params()), t.TempDir()
	draw := rand.New(rand.NewPCG(3, 1))
	const kills = 50
	saved, inside := 0, 0
	for kill := range kills + 1 {
		s := newScreen(t, profile, `window.setTimeout = unhurried`)
		s.open(file, planned[0].Start.Add(time.Duration(kill)*time.Second))
		text := s.log()
		events, faults := dwells.ReadLog(strings.NewReader(text), "switches.csv")
		require.Empty(t, faults, "after %d kills", kill)
		require.GreaterOrEqual(t, len(events), saved, "after %d kills", kill)
		for i, e := range events {
			require.Equal(t, strconv.Itoa(i), e.Note, "after %d kills: a line is missing", kill)
		}
		if kill == kills {
			require.Greater(t, saved, 10, "enough was written to lose some of it")
			break
		}
		// A remark every few milliseconds, numbered on from what is there.
		eval[bool](s, fmt.Sprintf(`(() => {
  let n = %d;
  setInterval(() => {
    document.getElementById("notetext").value = String(n++);
    document.getElementById("noteform").requestSubmit(document.querySelector('#noteform [value="remark"]'));
  }, %d);
  return true;
})()`, len(events), map[bool]int{true: 50, false: 7}[kill == 0]))
		open := time.Duration(100+draw.IntN(200)) * time.Millisecond
		if kill == 0 {
			open += 9 * time.Second // long enough for lines to be called saved
		}
		until, writing := time.Now().Add(open), false
		for time.Now().Before(until) {
			if m := savedLines.FindStringSubmatch(eval[string](s, `document.getElementById("kept").textContent`)); m != nil {
				n, err := strconv.Atoi(m[1] + m[2] + m[3])
				require.NoError(t, err)
				saved, writing = max(saved, n), m[3] != ""
			}
		}
		require.NoError(t, chromedp.FromContext(s.ctx).Browser.Process().Kill())
		s.end()
		if writing {
			inside++
		}
	}
	require.GreaterOrEqual(t, inside, 10, "kills while entries were on their way")
	t.Logf("%d lines called saved; %d of %d kills while entries were on their way", saved, inside, kills)
}
