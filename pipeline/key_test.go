package pipeline

import (
	"math"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/store"
	"fairlobe/pipeline/table"
)

func md(key, value string) arrow.Metadata {
	return arrow.NewMetadata([]string{key}, []string{value})
}

func sampleStage() Stage {
	sort := md(table.MetaSort, "n")
	return Stage{
		Name: "weigh", Version: 2, Needs: []string{"pairs", "log"}, Sources: []Source{{Name: "a \"b\".csv", Path: "/data/a.csv"}},
		Params: struct {
			Alpha float64
			Names []string
		}{0.05, []string{"north"}},
		Makes: []Output{{Name: "weights", Schema: arrow.NewSchema([]arrow.Field{{Name: "n", Type: arrow.PrimitiveTypes.Int64, Metadata: md("unit", "kg")}}, &sort)}, {Name: "page"}},
	}
}

func sampleKey(t testing.TB, s Stage, salt string) string {
	t.Helper()
	pre, err := preimage(s, salt, func(n string) string { return "sha256:need-" + n }, func(n string) string { return "sha256:source" })
	require.NoError(t, err)
	return pre
}

// Written out, so that a change of the form is seen: it makes every stored result a stranger.
func TestPreimageForm(t *testing.T) {
	pre := sampleKey(t, sampleStage(), "v1")
	assert.Equal(t, `pipeline key 2
tool "v1"
stage "weigh"
version 2
param Alpha 0.05
param Names[0] "north"
output "weights" table "sort"="n"; "n" int64 null=false "unit"="kg"
output "page" file
need "pairs" sha256:need-pairs
need "log" sha256:need-log
source "a \"b\".csv" sha256:source
`, pre)
	assert.NotContains(t, pre, "/home", "no path")
	assert.Len(t, store.KeyOf(pre), 64)
}

func TestEveryPartIsInTheKey(t *testing.T) {
	base := sampleKey(t, sampleStage(), "v1")
	seen := map[string]string{base: "base"}
	for name, change := range map[string]func(s *Stage){
		"name":          func(s *Stage) { s.Name = "weigh2" },
		"version":       func(s *Stage) { s.Version = 3 },
		"need":          func(s *Stage) { s.Needs[1] = "other" },
		"order":         func(s *Stage) { s.Needs[0], s.Needs[1] = s.Needs[1], s.Needs[0] },
		"no need":       func(s *Stage) { s.Needs = nil },
		"source":        func(s *Stage) { s.Sources[0].Name = "b.csv" },
		"no source":     func(s *Stage) { s.Sources = nil },
		"params":        func(s *Stage) { s.Params = struct{ Alpha float64 }{0.01} },
		"no params":     func(s *Stage) { s.Params = nil },
		"output":        func(s *Stage) { s.Makes[1].Name = "sheet" },
		"kind":          func(s *Stage) { s.Makes[0].Schema = nil },
		"field":         func(s *Stage) { s.Makes[0].Schema = arrow.NewSchema(nil, nil) },
		"unit":          func(s *Stage) { f := s.Makes[0].Schema.Field(0); f.Metadata = md("unit", "g"); reschema(s, f) },
		"null":          func(s *Stage) { f := s.Makes[0].Schema.Field(0); f.Nullable = true; reschema(s, f) },
		"type":          func(s *Stage) { f := s.Makes[0].Schema.Field(0); f.Type = arrow.PrimitiveTypes.Int32; reschema(s, f) },
		"sneaky source": func(s *Stage) { s.Sources[0].Name = "a\" sha256:source\nsource \"b" },
	} {
		s := sampleStage()
		change(&s)
		pre := sampleKey(t, s, "v1")
		assert.Empty(t, seen[pre], "%s has the pre-image of %s", name, seen[pre])
		seen[pre] = name
	}
	assert.NotEqual(t, base, sampleKey(t, sampleStage(), "v2"))
	moved := sampleStage()
	moved.Sources[0].Path = "/elsewhere"
	assert.Equal(t, base, sampleKey(t, moved, "v1"))
}

func reschema(s *Stage, f arrow.Field) {
	sort := md(table.MetaSort, "n")
	s.Makes[0].Schema = arrow.NewSchema([]arrow.Field{f}, &sort)
}

func TestExplain(t *testing.T) {
	old := sampleKey(t, sampleStage(), "v1")
	for want, change := range map[string]func(s *Stage) string{
		"":                       func(*Stage) string { return "v1" },
		`tool was "v1", is "v2"`: func(*Stage) string { return "v2" },
		"param Alpha was 0.05, is 0.01": func(s *Stage) string {
			s.Params = struct {
				Alpha float64
				Names []string
			}{0.01, []string{"north"}}
			return "v1"
		},
		`param Names[1] is new: "south \" pole"`: func(s *Stage) string {
			s.Params = struct {
				Alpha float64
				Names []string
			}{0.05, []string{"north", `south " pole`}}
			return "v1"
		},
		"version was 2, is 9, and 2 more":                                                func(s *Stage) string { s.Version, s.Params = 9, nil; return "v1" },
		"need more is new: sha256:need-more, and 1 more":                                 func(s *Stage) string { s.Needs[0] = "more"; return "v1" },
		`source a "b".csv is gone: sha256:source`:                                        func(s *Stage) string { s.Sources = nil; return "v1" },
		`output weights was table "sort"="n"; "n" int64 null=false "unit"="kg", is file`: func(s *Stage) string { s.Makes[0].Schema = nil; return "v1" },
	} {
		s := sampleStage()
		salt := change(&s)
		assert.Equal(t, want, explain(old, sampleKey(t, s, salt)))
	}
}

// Parameter paths hold map keys, which may hold anything.
func TestExplainFindsItsWayThroughMapKeys(t *testing.T) {
	type params struct{ Of map[string]int64 }
	one, two := sampleStage(), sampleStage()
	one.Params = params{map[string]int64{"a \" b\n]": 1}}
	two.Params = params{map[string]int64{"a \" b\n]": 2}}
	assert.Equal(t, `param Of["a \" b\n]"] was 1, is 2`, explain(sampleKey(t, one, ""), sampleKey(t, two, "")))
}

func TestExplainShortensWhatIsLong(t *testing.T) {
	digest := "sha256:" + strings.Repeat("ab", 32)
	assert.Equal(t, "sha256:abababababab...", short(digest))
	assert.Equal(t, strings.Repeat("ä", 80)+"...", short(strings.Repeat("ä", 100)))
	assert.Equal(t, "0.05", short("0.05"))
}

type fuzzParams struct {
	Text  string
	Float float64
	Int   int64
	Flag  bool
	List  []string
	Opt   *int32           `json:",omitempty"`
	Map   map[string]int64 `json:"map"`
}

func makeParams(text string, f float64, n int64, flag bool, list string, opt int32) fuzzParams {
	p := fuzzParams{Text: text, Float: f, Int: n, Flag: flag, List: strings.Split(list, ","), Map: map[string]int64{list: n}}
	if opt != 0 {
		p.Opt = &opt
	}
	return p
}

// Different parameters, names and salts have different pre-images, equal ones the same. JSON read back
// tells what is equal.
func FuzzPreimage(f *testing.F) {
	f.Add("a", 0.5, int64(1), true, "x,y", int32(0), "b", "v1", "v1")
	f.Add("a\nneed \"x\"", math.Copysign(0, -1), int64(-1), false, "", int32(7), "b\"", "v\n1", "v1")
	f.Add("\xff", 1e300, int64(1<<62), false, ",", int32(-7), "<>", "", "\u2028")
	f.Fuzz(func(t *testing.T, text string, x float64, n int64, flag bool, list string, opt int32, text2, salt, salt2 string) {
		one, two := sampleStage(), sampleStage()
		one.Params = makeParams(text, x, n, flag, list, opt)
		two.Params = makeParams(text2, x, n, flag, list, opt)
		first, err := preimage(one, salt, func(string) string { return "" }, func(string) string { return "" })
		if err != nil {
			return // parameters that can't be part of a key are refused
		}
		second, err := preimage(two, salt2, func(string) string { return "" }, func(string) string { return "" })
		if err != nil {
			return
		}
		require.Equal(t, text == text2 && salt == salt2, first == second)
		for line := range strings.Lines(first) {
			label, _, _ := strings.Cut(line, " ")
			require.Contains(t, []string{"pipeline", "tool", "stage", "version", "param", "output", "need", "source"}, label, "nothing in a fact starts a new line")
		}
		if first != second {
			require.NotEmpty(t, explain(first, second))
		}
	})
}

func BenchmarkPreimage(b *testing.B) {
	s := sampleStage()
	b.ReportAllocs()
	for b.Loop() {
		sampleKey(b, s, "v1")
	}
}
