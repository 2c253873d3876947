package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// imports is the policy: which packages of ours each package may import, tests left out. It is the same as the table in
// DEVELOPERS.md. Do not widen it to make a build pass: a wrong import means that something stands in the wrong room.
const imports = `
pipeline/diag:               -
pipeline/atomicfile:         -
pipeline/table:              -
pipeline/store:              pipeline/atomicfile
pipeline/manifest:           pipeline/atomicfile
pipeline/bag:                pipeline/diag
pipeline:                    pipeline/atomicfile pipeline/diag pipeline/manifest pipeline/store pipeline/table

datasets:                    -
datasets/coast:              -
datasets/coast/make:         datasets/coast
datasets/world:              datasets/coast
datasets/rehearsal:          datasets/world experiments experiments/seal pipeline/diag stages/schedule

experiments:                 pipeline/diag
experiments/looks:           pipeline/atomicfile pipeline/diag
experiments/seal:            pipeline/diag stages/schedule
experiments/outline:         -
experiments/repeat:          experiments experiments/outline pipeline/diag stages/schedule

stages/schedule/rows:        pipeline/diag
stages/schedule:             pipeline/diag stages/schedule/rows
stages/schedule/calendar:    stages/schedule
stages/schedule/phone:       stages/schedule
stages/dwells:               pipeline/diag stages/schedule stages/schedule/rows

stages/internal/geo:         -
stages/internal/locator:     pipeline/diag stages/internal/geo
stages/internal/match:       -
stages/internal/adif:        -
stages/internal/delimited:   -
stages/internal/touchstone:  stages/internal/delimited
stages/internal/circular:    -
stages/internal/offsets:     -
stages/internal/signflip:    -
stages/internal/multiple:    -
stages/internal/meta:        -
stages/internal/contrast:    stages/internal/signflip
stages/internal/account:     -
stages/internal/station:     pipeline/table stages/internal/geo stages/internal/locator

stages/internal/sun:         -
stages/internal/path:        -

stages/trial:                datasets pipeline pipeline/diag pipeline/table stages/dwells stages/internal/account stages/schedule
stages/spots:                datasets pipeline pipeline/diag pipeline/table stages/internal/account stages/internal/adif stages/internal/delimited stages/internal/locator stages/schedule
stages/sweeps:               datasets pipeline pipeline/diag pipeline/table stages/internal/delimited stages/internal/match stages/internal/touchstone
stages/quarantine:           datasets pipeline pipeline/table
stages/locate:               datasets pipeline pipeline/diag pipeline/table stages/internal/geo stages/internal/locator stages/internal/station
stages/reduce:               datasets pipeline pipeline/table stages/internal/station stages/schedule
stages/paths:                datasets pipeline pipeline/table stages/internal/geo stages/internal/locator stages/internal/path stages/internal/station stages/internal/sun
stages/judge:                datasets pipeline pipeline/table stages/internal/account stages/internal/circular stages/internal/contrast stages/internal/geo stages/internal/multiple stages/internal/offsets stages/internal/station
stages/report:               datasets/coast pipeline pipeline/table stages/internal/account stages/internal/locator stages/internal/station stages/pooling
stages/handover:             datasets pipeline pipeline/diag pipeline/table stages/dwells stages/internal/account stages/internal/station stages/judge stages/schedule
stages:                      experiments experiments/looks experiments/repeat experiments/seal pipeline pipeline/bag pipeline/diag pipeline/store pipeline/table stages/dwells stages/handover stages/internal/adif stages/internal/contrast stages/judge stages/locate stages/paths stages/pooling stages/quarantine stages/reduce stages/report stages/schedule stages/spots stages/sweeps stages/trial
stages/pooling:              pipeline/diag stages/internal/meta stages/internal/multiple stages/judge

stages/field:                pipeline/atomicfile pipeline/diag stages/dwells stages/schedule stages/schedule/rows

stages/trials:               datasets datasets/coast datasets/rehearsal datasets/world experiments pipeline pipeline/diag pipeline/table stages stages/internal/account stages/judge stages/schedule
stages/planning:             datasets datasets/rehearsal experiments pipeline/diag pipeline/table stages/internal/contrast stages/internal/geo stages/internal/locator stages/internal/signflip stages/internal/station stages/internal/sun stages/judge stages/schedule stages/trials

cmd/fairlobe:                datasets datasets/rehearsal experiments experiments/looks experiments/outline experiments/repeat experiments/seal pipeline pipeline/atomicfile pipeline/bag pipeline/diag pipeline/manifest pipeline/store pipeline/table stages stages/field stages/handover stages/judge stages/planning stages/pooling stages/report stages/schedule stages/schedule/calendar stages/schedule/phone stages/trials
`

// forbidden are imports from outside that would mean that a package knows what it must not know.
var forbidden = map[string][]string{
	"github.com/apache/arrow/go/v15": {"cmd", "experiments", "stages/internal", "stages/schedule", "stages/dwells", "pipeline/store", "pipeline/diag"},
	"os":                             {"stages/internal", "stages/judge", "stages/reduce", "stages/locate", "stages/paths", "stages/spots", "stages/sweeps", "stages/report", "stages/trial", "stages/schedule", "stages/dwells"},
	"net":                            {"cmd", "experiments", "pipeline", "stages", "datasets"},
	"net/http":                       {"cmd", "experiments", "pipeline", "stages", "datasets"},
}

const module = "fairlobe/"

func TestPackagesImportOnlyWhatThePolicyAllows(t *testing.T) {
	policy := parsePolicy(t, imports)
	found := importsOf(t, "../..")
	for _, pkg := range sortedKeys(found) {
		allowed, ok := policy[pkg]
		require.True(t, ok, "package %s is not in the policy: give it a line there and in DEVELOPERS.md", pkg)
		for _, imp := range found[pkg] {
			if ours, ok := strings.CutPrefix(imp, module); ok {
				require.True(t, slices.Contains(allowed, ours), "package %s imports %s, which the policy does not allow", pkg, ours)
			}
			for outside, where := range forbidden {
				if imp == outside || strings.HasPrefix(imp, outside+"/") {
					for _, room := range where {
						require.False(t, pkg == room || strings.HasPrefix(pkg, room+"/"), "package %s imports %s", pkg, imp)
					}
				}
			}
		}
	}
	for _, pkg := range sortedKeys(policy) {
		require.Contains(t, found, pkg, "the policy speaks of a package that does not exist")
	}
}

// The table in DEVELOPERS.md must not fall behind.
func TestDevelopersShowsThePolicy(t *testing.T) {
	text, err := os.ReadFile("../../DEVELOPERS.md")
	require.NoError(t, err)
	for _, pkg := range sortedKeys(parsePolicy(t, imports)) {
		require.Contains(t, string(text), "`"+pkg+"`", "DEVELOPERS.md does not name the package")
	}
}

func TestPolicyCheckCanFail(t *testing.T) {
	found := importsOf(t, "../..")
	require.Contains(t, found["stages/judge"], module+"stages/internal/contrast", "the check must see imports at all")
	require.NotContains(t, parsePolicy(t, imports)["stages/internal/contrast"], "pipeline")
}

func parsePolicy(t *testing.T, text string) map[string][]string {
	out := map[string][]string{}
	for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
		if line == "" {
			continue
		}
		pkg, list, ok := strings.Cut(line, ":")
		require.True(t, ok, line)
		out[pkg] = []string{}
		for _, imp := range strings.Fields(list) {
			if imp != "-" {
				out[pkg] = append(out[pkg], imp)
			}
		}
	}
	return out
}

// importsOf gives the imports of every package below root, without its tests.
func importsOf(t *testing.T, root string) map[string][]string {
	out := map[string][]string{}
	err := filepath.WalkDir(root, func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() && (entry.Name() == "testdata" || strings.HasPrefix(entry.Name(), ".") && name != root) {
			return filepath.SkipDir
		}
		if entry.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, name)
		if err != nil {
			return err
		}
		pkg := path.Dir(filepath.ToSlash(rel))
		out[pkg] = append(out[pkg], []string{}...)
		for _, spec := range file.Imports {
			imp, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			if !slices.Contains(out[pkg], imp) {
				out[pkg] = append(out[pkg], imp)
			}
		}
		return nil
	})
	require.NoError(t, err)
	return out
}

func sortedKeys(m map[string][]string) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
