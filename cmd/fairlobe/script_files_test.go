package main

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"fairlobe/pipeline/store"
)

// change replaces what a pattern finds, which must be somewhere: change FILE PATTERN TEXT. In TEXT \n begins a line.
// Packed files are unpacked and packed again.
func change(ts *testscript.TestScript, _ bool, args []string) {
	if len(args) != 3 {
		ts.Fatalf("usage: change FILE PATTERN TEXT")
	}
	path, pattern := ts.MkAbs(args[0]), regexp.MustCompile("(?m)"+args[1])
	text := unpacked(ts, path)
	if !pattern.Match(text) {
		ts.Fatalf("%s: nothing is like %s", args[0], args[1])
	}
	pack(ts, path, pattern.ReplaceAll(text, []byte(strings.ReplaceAll(args[2], `\n`, "\n"))))
}

func unpacked(ts *testscript.TestScript, path string) []byte {
	data, err := os.ReadFile(path)
	ts.Check(err)
	if !strings.HasSuffix(path, ".gz") {
		return data
	}
	r, err := gzip.NewReader(bytes.NewReader(data))
	ts.Check(err)
	text, err := io.ReadAll(r)
	ts.Check(err)
	return text
}

func pack(ts *testscript.TestScript, path string, text []byte) {
	if strings.HasSuffix(path, ".gz") {
		var out bytes.Buffer
		w := gzip.NewWriter(&out)
		_, err := w.Write(text)
		ts.Check(err)
		ts.Check(w.Close())
		text = out.Bytes()
	}
	ts.Check(os.WriteFile(path, text, 0o644))
}

// reordered turns the records of files round, last first, and leaves the first lines: reordered HEADLINES FILE...
func reordered(ts *testscript.TestScript, _ bool, args []string) {
	head, err := strconv.Atoi(args[0])
	ts.Check(err)
	for _, name := range args[1:] {
		path := ts.MkAbs(name)
		lines := bytes.SplitAfter(bytes.TrimSuffix(unpacked(ts, path), []byte("\n")), []byte("\n"))
		last := &lines[len(lines)-1]
		*last = append(slices.Clone(*last), '\n')
		slices.Reverse(lines[head:])
		pack(ts, path, bytes.Join(lines, nil))
	}
}

var stamp = regexp.MustCompile(`\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ`)

// shifted moves every RFC 3339 time of files: shifted 5h30m FILE...
func shifted(ts *testscript.TestScript, _ bool, args []string) {
	by, err := time.ParseDuration(args[0])
	ts.Check(err)
	for _, name := range args[1:] {
		path := ts.MkAbs(name)
		pack(ts, path, stamp.ReplaceAllFunc(unpacked(ts, path), func(old []byte) []byte {
			at, err := time.Parse(time.RFC3339, string(old))
			if err != nil {
				return old // the files hold broken rows on purpose
			}
			return []byte(at.Add(by).Format(time.RFC3339))
		}))
	}
}

// dropColumns takes columns out of a table and sorts its rows: dropcolumns FILE COLUMN...
func dropColumns(ts *testscript.TestScript, _ bool, args []string) {
	path := ts.MkAbs(args[0])
	all, err := readCSV(path)
	ts.Check(err)
	var drop []int
	for _, name := range args[1:] {
		i := slices.Index(all[0], name)
		if i < 0 {
			ts.Fatalf("%s has no column %s", args[0], name)
		}
		drop = append(drop, i)
	}
	var lines []string
	for _, row := range all[1:] {
		var kept []string
		for i, cell := range row {
			if !slices.Contains(drop, i) {
				kept = append(kept, fmt.Sprintf("%q", cell))
			}
		}
		lines = append(lines, strings.Join(kept, ",")+"\n")
	}
	slices.Sort(lines)
	ts.Check(os.WriteFile(path, []byte(strings.Join(lines, "")), 0o644))
}

// keep remembers every file below folders or of single names, for same: keep PATH...
func keepTree(ts *testscript.TestScript, _ bool, args []string) {
	for _, name := range args {
		ts.Check(os.WriteFile(keptAs(ts, name), []byte(sums(ts, ts.MkAbs(name))), 0o644))
	}
}

// same asks that nothing has changed since keep: same PATH...
func sameTree(ts *testscript.TestScript, neg bool, args []string) {
	for _, name := range args {
		want, err := os.ReadFile(keptAs(ts, name))
		ts.Check(err)
		if got := sums(ts, ts.MkAbs(name)); (got == string(want)) == neg {
			ts.Fatalf("%s: was\n%sis\n%s", name, want, got)
		}
	}
}

func keptAs(ts *testscript.TestScript, name string) string {
	return filepath.Join(ts.Getenv("WORK"), ".kept-"+store.Sum([]byte(ts.MkAbs(name))))
}

// sums lists files with their SHA-256; the store is left out, since it may grow.
func sums(ts *testscript.TestScript, path string) string {
	var out strings.Builder
	ts.Check(filepath.WalkDir(path, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() && entry.Name() != "store" {
			return err
		}
		if entry.IsDir() {
			return fs.SkipDir
		}
		data, err := os.ReadFile(name)
		rel, _ := filepath.Rel(path, name)
		fmt.Fprintf(&out, "%s %s\n", store.Sum(data), filepath.ToSlash(rel))
		return err
	}))
	return out.String()
}

// waitFor waits until a file is there.
func waitFor(ts *testscript.TestScript, _ bool, args []string) {
	for range 60_000 {
		if _, err := os.Stat(ts.MkAbs(args[0])); err == nil {
			return
		}
		time.Sleep(time.Millisecond)
	}
	ts.Fatalf("%s did not come", args[0])
}

// ownFolder takes away the right to write into a folder and gives it back at the end: ownfolder DIR.
func ownFolder(ts *testscript.TestScript, _ bool, args []string) {
	dir := ts.MkAbs(args[0])
	ts.Check(os.Chmod(dir, 0o555))
	ts.Defer(func() { ts.Check(os.Chmod(dir, 0o755)) })
}

var moment = regexp.MustCompile(`\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ|\d{4}-\d\d-\d\d \d\d:\d\dZ|sha256:[0-9a-f]{64}|seed (= )?\d+|\.(tmp|next)-[0-9a-f]{16}`)

// timeless puts stars for times, digests, seeds and temporary names, which differ between runs: timeless FROM TO. FROM may be stdout
// or stderr.
func timeless(ts *testscript.TestScript, _ bool, args []string) {
	text := moment.ReplaceAllString(ts.ReadFile(args[0]), "***")
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(text), 0o644))
}
