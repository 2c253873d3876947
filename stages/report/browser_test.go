package report

import (
	"context"
	_ "embed"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// look is run in the page by the test: it gives what is wrong with it, one line each.
//
//go:embed testdata/look.js
var look string

// browser starts Chromium, or skips the test where there is none; FAIRLOBE_BROWSER=required makes that a failure. A short test has no
// browser: what the page looks like does not depend on the race detector.
func browser(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("the page is looked at in a browser without -short")
	}
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			path = found
			break
		}
	}
	if path == "" {
		if os.Getenv("FAIRLOBE_BROWSER") == "required" {
			t.Fatal("FAIRLOBE_BROWSER=required, and there is no chromium")
		}
		t.Skip("no chromium: the page is not looked at in a browser")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-background-networking", true), chromedp.UserDataDir(t.TempDir()))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, end := chromedp.NewContext(allocator)
	t.Cleanup(end)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("about:blank")))
	return ctx
}

func TestPageInABrowser(t *testing.T) {
	ctx := browser(t)
	requests := watch(t, ctx)
	for name, w := range cases() {
		file := filepath.Join(t.TempDir(), "report.html")
		require.NoError(t, os.WriteFile(file, []byte(w.html(t)), 0o644))
		for _, width := range []int64{320, 390, 620, 1280} {
			if name != "usual" && name != "long names" && width != 390 && width != 1280 {
				continue
			}
			for _, theme := range []string{"light", "dark"} {
				if theme == "dark" && (name != "usual" || width == 320 || width == 620) {
					continue // colours are the same on all pages
				}
				t.Run(fmt.Sprintf("%s, %d, %s", name, width, theme), func(t *testing.T) {
					emulate(t, ctx, "", theme)
					requests()
					require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 900), chromedp.Navigate("file://"+file)))
					said, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](look))
					require.NoError(t, err)
					if width == 320 { // letters are small in a picture that narrow; all else holds
						said = slices.DeleteFunc(said, func(s string) bool { return strings.HasPrefix(s, "small in the picture") })
					}
					require.Empty(t, said)
					for _, url := range requests() {
						require.Equal(t, "file://"+file, url, "the page loads nothing else")
					}
					if name == "usual" || width == 390 { // it is slow
						axe(t, ctx)
					}
				})
			}
		}
	}
}

// The checks can fail: this page has one fault of each kind.
func TestLookSees(t *testing.T) {
	ctx := browser(t)
	file := filepath.Join(t.TempDir(), "bad.html")
	require.NoError(t, os.WriteFile(file, []byte(`<!DOCTYPE html><html><body style="background: #fff; font: 16px sans-serif">
<svg class="picture" viewBox="0 0 340 100" style="width: 340px; display: block"><text x="10" y="50">one</text><text x="20" y="52">two</text><text x="330" y="20">far out</text><text x="10" y="90" style="font-size: 9px">tiny</text></svg>
<p style="color: #999">pale</p><p style="font-size: 10px">small print</p>
<div style="width: 60px; overflow: hidden; white-space: nowrap">cut off here, plainly</div>
<p>under</p><p style="margin-top: -30px">over</p>
<div class="box" style="width: 90px; overflow-x: auto"><table><tr><td style="min-width: 300px">one</td><td>two</td></tr></table></div>
<p style="width: 3000px">wide</p></body></html>`), 0o644))
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(390, 900), chromedp.Navigate("file://"+file)))
	said, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](look))
	require.NoError(t, err)
	for _, want := range []string{"sideways", "text over text", "cut in the picture", "small in the picture", "contrast 2.8", "small: P", "cut: DIV. cut off", "cut: DIV.box", "beyond the edge", "block over block"} {
		require.Contains(t, strings.Join(said, "\n"), want)
	}
}

// A wide table is a list on a phone: each cell names its column, and the roles keep it a table for those who hear it.
func TestTablesOnAPhone(t *testing.T) {
	ctx := browser(t)
	file := filepath.Join(t.TempDir(), "report.html")
	require.NoError(t, os.WriteFile(file, []byte(newWorld(20).html(t)), 0o644))
	const labels = `[...document.querySelectorAll("td[data-label]")].filter(d => getComputedStyle(d, "::before").content.includes("data-label") || getComputedStyle(d, "::before").content.includes(d.dataset.label)).length`
	const mislabelled = `[...document.querySelectorAll("td[data-label]")].filter(d => d.dataset.label !== d.closest("table").tHead.rows[0].cells[d.cellIndex].textContent).length`
	const unnamed = `[...document.querySelectorAll(".list, .list thead, .list tbody, .list tr, .list th, .list td")].filter(e => !e.hasAttribute("role")).length`
	for width, want := range map[int64]bool{390: true, 1280: false} {
		require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 900), chromedp.Navigate("file://"+file)))
		n, err := chromedp.Run(ctx, chromedp.Evaluate[int](labels))
		require.NoError(t, err)
		require.Equal(t, want, n > 100, "%d labels at %d px", n, width)
		for _, none := range []string{mislabelled, unnamed} {
			n, err := chromedp.Run(ctx, chromedp.Evaluate[int](none))
			require.NoError(t, err)
			require.Zero(t, n, none)
		}
	}
}

// On paper details are open and the navigation is gone.
func TestPageOnPaper(t *testing.T) {
	ctx := browser(t)
	file := filepath.Join(t.TempDir(), "report.html")
	require.NoError(t, os.WriteFile(file, []byte(newWorld(20).html(t)), 0o644))
	emulate(t, ctx, "print", "dark")
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(700, 900), chromedp.Navigate("file://"+file)))
	closed, err := chromedp.Run(ctx, chromedp.Evaluate[int](`[...document.querySelectorAll("details")].filter(d => !d.lastElementChild.checkVisibility({contentVisibilityAuto: true}) || d.lastElementChild.offsetHeight < 20).length`))
	require.NoError(t, err)
	require.Zero(t, closed, "details that stay closed")
	background, err := chromedp.Run(ctx, chromedp.Evaluate[string](`getComputedStyle(document.body).backgroundColor`))
	require.NoError(t, err)
	require.Equal(t, "rgb(255, 255, 255)", background)
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF())
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(string(pdf), "%PDF"))
}

func emulate(t *testing.T, ctx context.Context, medium, theme string) {
	t.Helper()
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: medium,
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: theme}}})
	require.NoError(t, err)
}

// watch gives a function that tells which addresses were asked for since it was called last.
func watch(t *testing.T, ctx context.Context) func() []string {
	t.Helper()
	var mu sync.Mutex
	var asked []string
	_, err := chromedp.Call(ctx, network.Enable, network.EnableParams{})
	require.NoError(t, err)
	require.NoError(t, chromedp.Listen(ctx, func(event any) {
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
func axe(t *testing.T, ctx context.Context) {
	t.Helper()
	file := os.Getenv("FAIRLOBE_AXE")
	if file == "" {
		return
	}
	script, err := os.ReadFile(file)
	require.NoError(t, err)
	_, err = chromedp.Run(ctx, chromedp.Evaluate[bool](string(script)+";true"))
	require.NoError(t, err)
	const run = `axe.run().then(r => r.violations.map(v => v.id + ": " + v.help + ": " + v.nodes.slice(0, 3).map(n => n.html.slice(0, 120)).join(" | ")))`
	said, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](run, chromedp.EvalAwaitPromise))
	require.NoError(t, err)
	require.Empty(t, said)
}
