package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/mattn/go-isatty"

	"fairlobe/pipeline"
)

// progress draws one line on a terminal, at most ten times a second, and nothing elsewhere.
type progress struct {
	mu    sync.Mutex
	out   io.Writer // nil: nobody watches
	last  time.Time
	drawn bool
}

func newProgress(out io.Writer) *progress {
	f, ok := out.(*os.File)
	if !ok || !isatty.IsTerminal(f.Fd()) || os.Getenv("TERM") == "dumb" {
		return &progress{}
	}
	return &progress{out: f}
}

// barWidth leaves room for the rest on 40 columns: a line that wraps can't be drawn over.
const barWidth = 16

// show draws the state of the run.
func (p *progress) show(e pipeline.Event) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.out == nil || e.Total == 0 || time.Since(p.last) < 100*time.Millisecond && e.Done < e.Total {
		return
	}
	p.last, p.drawn = time.Now(), true
	full := barWidth * e.Done / e.Total
	stage, _, _ := strings.Cut(e.Stage, "_") // reading stages end with the digest of a file's name
	fmt.Fprintf(p.out, "\r\x1b[K%s%s %d of %d  %s", strings.Repeat("#", full), strings.Repeat(".", barWidth-full), e.Done, e.Total, stage)
}

// clear takes the line away.
func (p *progress) clear() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.drawn {
		fmt.Fprint(p.out, "\r\x1b[K")
		p.drawn = false
	}
}
