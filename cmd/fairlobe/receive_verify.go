package main

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"

	"fairlobe/pipeline/bag"
)

// otherBytes is the finding that a rerun made something else.
type otherBytes struct{ text string }

func (e otherBytes) Error() string { return e.text }

// verifyBundle runs the analysis of a bundle again and compares every file that can be made again.
func verifyBundle(ctx context.Context, file string, jobs int, std streams) error {
	b, err := openBundle(file)
	if err != nil {
		return err
	}
	defer b.Release()
	b.describe(std.out)
	if b.Given == nil {
		fmt.Fprintln(std.out)
		say(std.out, "", "", "It holds no data, so there is nothing to run again. Checksums, seal and schedule are checked.")
		return nil
	}
	made, err := b.Given.Again(ctx, jobs)
	if err != nil {
		return inBundle(file, err)
	}
	if first := b.firstOther(made); first != "" {
		return otherBytes{fmt.Sprintf("%s: %s%s", file, first, b.whyOther())}
	}
	fmt.Fprintln(std.out)
	say(std.out, "", "", fmt.Sprintf(
		"The same bytes: %d of its %d files were made again from the others, and none differs: %s. So the identity is the same:",
		len(made), len(b.Names()), madeAgain(made)))
	fmt.Fprintf(std.out, "  %s\n", b.identityWith(made))
	return nil
}

// firstOther tells of the first file that is another one, "" if none is. Texts come first, for they tell the row.
func (b *bundle) firstOther(made map[string][]byte) string {
	names := slices.SortedFunc(maps.Keys(made), func(x, y string) int {
		isText := func(name string) int {
			if path.Ext(name) == ".parquet" {
				return 1
			}
			return 0
		}
		if d := isText(x) - isText(y); d != 0 {
			return d
		}
		return strings.Compare(x, y)
	})
	for _, name := range names {
		have, ok := b.File(name)
		switch {
		case !ok:
			return fmt.Sprintf("data/%s is not there, and it can be made from the data", name)
		case !bytes.Equal(have, made[name]):
			return fmt.Sprintf("data/%s:%s comes out as other bytes", name, whereOther(name, have, made[name]))
		}
	}
	return ""
}

// whereOther is the line of a text or the byte of another file at which two differ, both from 1.
func whereOther(name string, a, b []byte) string {
	i := 0
	for i < min(len(a), len(b)) && a[i] == b[i] {
		i++
	}
	if path.Ext(name) == ".parquet" {
		return fmt.Sprintf(" byte %d", i+1)
	}
	return fmt.Sprintf("%d:%d", 1+bytes.Count(a[:i], []byte("\n")), i-bytes.LastIndexByte(a[:i], '\n'))
}

// whyOther says that another version may be the reason.
func (b *bundle) whyOther() string {
	const own = "fairlobe " + version
	if by := b.Given.Standing.Tool; by != own {
		return fmt.Sprintf("\n    It was made by %q, and this is %s: that may be why. Verify it with the version that made it.", by, own)
	}
	return "\n    It names this very version, so it was changed after it was made, or another build or machine made it."
}

// madeAgain names what was made again, tables by their number.
func madeAgain(made map[string][]byte) string {
	var names []string
	tables := 0
	for _, name := range slices.Sorted(maps.Keys(made)) {
		if path.Dir(name) == "tables" {
			if path.Ext(name) == ".csv" {
				tables++
			}
			continue
		}
		names = append(names, name)
	}
	return fmt.Sprintf("%s, %d tables", strings.Join(names, ", "), tables)
}

// identityWith is the identity of the payload with the files that were made again in the place of its own.
func (b *bundle) identityWith(made map[string][]byte) string {
	var payload []bag.File
	for _, name := range b.Names() {
		data, again := made[name]
		if !again {
			data, _ = b.File(name)
		}
		payload = append(payload, bag.File{Name: name, Data: data})
	}
	return bag.Identity(payload)
}
