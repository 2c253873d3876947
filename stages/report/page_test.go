package report

import (
	"encoding/xml"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/internal/account"
)

var update = flag.Bool("update", false, "write the golden page again")

func TestGoldenPage(t *testing.T) {
	page := newWorld(6).html(t)
	golden := filepath.Join("testdata", "page.html")
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(golden, []byte(page), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.True(t, string(want) == page, "look at the page, then go test ./stages/report -update")
}

func TestStageMakesThePage(t *testing.T) {
	w := newWorld(6)
	in := w.input(t)
	defer in.Release()
	result, err := Stage(w.params).Run(t.Context(), in)
	require.NoError(t, err)
	require.True(t, w.html(t) == string(result.Files[FilePage]))
	require.Len(t, result.Files, len(Stage(w.params).Makes))
}

// cases are worlds at the edges of what may be.
func cases() map[string]*world {
	out := map[string]*world{}
	make := func(name string, stations int, change func(w *world)) {
		w := newWorld(stations)
		change(w)
		out[name] = w
	}
	make("usual", 80, func(*world) {})
	make("no data yet", 0, func(w *world) {
		*w = world{params: w.params, blocksOf: 8, bands: w.bands, lost: "no reports"}
		w.add(map[string]any{"claim": "lift helps", "kind": "level", "band": "20m", "arms": []string{"high", "low"}, "verdict": "refused", "reason": "no reports yet", "reason_code": "no_reports", "smallest_difference_db": 1.5, "warnings": []any{}}, claimBand{})
	})
	make("no claim", 0, func(w *world) { *w = world{params: w.params} })
	make("one station", 1, func(*world) {})
	make("one arm", 20, func(w *world) {
		w.entries, w.keys = w.entries[:1], w.keys[:1]
		w.entries[0]["arms"], w.entries[0]["verdict"], w.entries[0]["evidence"], w.entries[0]["estimate_db"] = []string{"high"}, "refused", "observed only", nil
		clear(w.differences)
		clear(w.blocks)
		clear(w.lobes)
		w.params.Arms = w.params.Arms[:1]
	})
	make("no sweeps", 20, func(w *world) { w.sweeps = false })
	make("no lobe", 20, func(w *world) { clear(w.lobes) })
	make("only a level", 20, func(w *world) { w.entries, w.keys = w.entries[:2], w.keys[:2] })
	make("300 stations", 300, func(*world) {})
	make("many claims", 12, func(w *world) {
		w.entries, w.keys = nil, nil
		for c := range int64(20) {
			for b, band := range w.bands {
				w.compare(fmt.Sprintf("claim number %d", c), band, claimBand{c, int64(b)})
			}
		}
	})
	make("long names", 20, func(w *world) { w.rename(strings.Repeat("verylongname", 12), strings.Repeat("many words ", 20)) })
	make("very large differences", 20, func(w *world) {
		for k := range w.differences {
			w.differences[k][0].db, w.differences[k][1].db = 95.5, -120
			v := -88.25
			w.blocks[k][0].db = &v
		}
		w.entries[0]["estimate_db"], w.entries[0]["interval_db"] = 60.5, []any{55.0, 70.0}
	})
	make("unbounded", 20, func(w *world) {
		w.entries[0]["interval_db"] = []any{1.2, nil}
		w.entries[1]["interval_db"] = []any{nil, nil}
		for k := range w.lobes {
			for i := range w.lobes[k] {
				w.lobes[k][i].high, w.lobes[k][0].low = nil, nil
			}
		}
	})
	make("so far", 20, func(w *world) {
		w.entries[0]["p"], w.entries[0]["interval_db"], w.entries[0]["verdict"], w.entries[0]["reason"] = nil, nil, "undecided", "8 of 16 blocks are in"
	})
	make("antipode", 20, func(w *world) {
		for i, d := range []float64{20003.9, 20015, 19000, 0, 1e-9} {
			w.stations[i].distance = &d
		}
	})
	make("no places", 20, func(w *world) {
		for i := range w.stations {
			w.stations[i].bearing, w.stations[i].distance = nil, nil
		}
	})
	make("near the pole", 20, func(w *world) { w.params.Locator = "JR99" })
	make("date line", 20, func(w *world) { w.params.Locator = "RH99xx" })
	make("own place unknown", 20, func(w *world) { w.params.Locator = "" })
	make("not numbers", 20, func(w *world) {
		nan, inf := math.NaN(), math.Inf(1)
		for k := range w.differences {
			w.differences[k][0].db, w.differences[k][1].weight = nan, inf
			w.blocks[k][0].db, w.blocks[k][1].db, w.blocks[k][2].weight = &nan, &inf, nan
			for i := range w.lobes[k] {
				w.lobes[k][i].low, w.lobes[k][i].high = &nan, &inf
			}
		}
		w.stations[3].bearing, w.stations[4].distance = &nan, &inf
	})
	make("hostile", 20, (*world).poison)
	return out
}

func (w *world) rename(name, words string) {
	for _, e := range w.entries {
		e["claim"], e["arms"], e["reason"] = name, []string{name, words}, words+name
	}
	w.params.Title, w.params.Question = words+name, name+words
	w.params.Arms[0] = Arm{name, []string{words, name}}
	w.stations[0].call, w.lost = name, words
}

// poison puts what must stay text wherever a text of a file can come from.
const poison = `<script>alert(1)</script>"'><img onerror=x> ]]>--></style></svg>{{.}} javascript:alert(1) ` + "\u202egnp\u2066\x00\x1b[31m\u2028`"

func (w *world) poison() {
	w.rename(poison, poison)
	for _, e := range w.entries {
		for _, name := range []string{"kind", "band", "verdict", "evidence", "reach", "reason_code", "direction"} {
			if name != "kind" && e[name] != nil {
				e[name] = poison
			}
		}
		e["warnings"] = []any{map[string]any{"code": poison, "text": poison}}
		if s, ok := e["sweeps"].([]any); ok {
			s[0].(map[string]any)["sweep"], s[0].(map[string]any)["plane"], s[0].(map[string]any)["arm"] = poison, poison, poison
		}
	}
	for i := range w.stations {
		w.stations[i].call, w.stations[i].locator = poison, poison
	}
	p := &w.params
	p.Fixed, p.Safety, p.Tool, p.Repeat, p.Seal = []string{poison}, []string{poison}, poison, poison, poison
	w.bands = []string{poison}
	w.intake.Reasons = map[string]int{poison: 3}
	w.trial.Events = []account.LogEvent{{Kind: account.Remark, Time: began, Band: poison, Arm: poison, Note: poison}}
}

func TestPagesAreWellFormedAndLoadNothing(t *testing.T) {
	for name, w := range cases() {
		t.Run(name, func(t *testing.T) {
			page := w.html(t)
			elements := parse(t, page)
			for _, s := range []string{"NaN", "Inf", "ZgotmplZ"} {
				require.False(t, strings.Contains(page, s), s)
			}
			for _, e := range elements {
				require.NotContains(t, []string{"script", "img", "link", "iframe", "object", "embed", "image", "form", "base"}, e.Name.Local)
				for _, a := range e.Attr {
					require.NotContains(t, []string{"src", "srcset", "action", "data", "onerror", "onclick", "onload"}, a.Name.Local)
					if a.Name.Local == "href" {
						require.True(t, strings.HasPrefix(a.Value, "#"), a.Value)
					}
				}
			}
			if name != "hostile" {
				for _, s := range []string{"src=", "url(", "javascript", "<script"} {
					require.False(t, strings.Contains(page, s), s)
				}
				require.Equal(t, 1, strings.Count(page, "http"), "http-equiv only")
			}
			require.True(t, page == w.html(t), "same input, same bytes")
		})
	}
}

func TestHostileTextStaysText(t *testing.T) {
	w := newWorld(20)
	w.poison()
	page := w.html(t)
	for _, r := range "\u202e\u2066\x00\x1b\u2028" {
		require.False(t, strings.ContainsRune(page, r), "%U", r)
	}
	require.False(t, strings.Contains(page, "<script"))
	require.False(t, strings.Contains(page, "<img"))
	require.True(t, strings.Contains(page, "&lt;script&gt;alert(1)"), "it is shown, not dropped")
	require.Equal(t, 1, strings.Count(page, "</style>"))
}

// parse reads the page as XML, which it is on purpose, and checks names, references and headings on the way.
func parse(t *testing.T, page string) []xml.StartElement {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(page))
	var out []xml.StartElement
	ids, level := map[string]bool{}, 0
	var references []string
	for {
		token, err := dec.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		e, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		e = e.Copy()
		out = append(out, e)
		if n := e.Name.Local; len(n) == 2 && n[0] == 'h' && n[1] >= '1' && n[1] <= '6' {
			require.LessOrEqual(t, int(n[1]-'0'), level+1, "no level of headings is left out")
			level = int(n[1] - '0')
		}
		for _, a := range e.Attr {
			switch a.Name.Local {
			case "id":
				require.False(t, ids[a.Value], "id %s stands twice", a.Value)
				ids[a.Value] = true
			case "aria-labelledby":
				references = append(references, strings.Fields(a.Value)...)
			case "href":
				references = append(references, strings.TrimPrefix(a.Value, "#"))
			}
		}
	}
	for _, r := range references {
		require.True(t, ids[r], "nothing has the id %s", r)
	}
	return out
}

// Every signed dB of the page's text (axes left out) is a cell of a table, rounded to two digits.
func TestFiguresAreCells(t *testing.T) {
	w := newWorld(40)
	page := regexp.MustCompile(`(?s)<svg.*?</svg>|<style>.*?</style>`).ReplaceAllString(w.html(t), "")
	page = strings.ReplaceAll(page, "&#43;", "+")
	cells := map[string]bool{}
	add := func(v *float64) {
		if v != nil {
			cells[strings.TrimSuffix(signed(*v), " dB")] = true
		}
	}
	for _, k := range w.keys {
		for _, d := range w.differences[k] {
			add(&d.db)
		}
		for _, b := range w.blocks[k] {
			add(b.db)
		}
	}
	in := w.input(t)
	defer in.Release()
	doc, _, err := w.params.document(in)
	require.NoError(t, err)
	entries, err := doc.decode()
	require.NoError(t, err)
	for _, e := range entries {
		add(e.EstimateDB)
		ranges := []*[2]*float64{e.IntervalDB, e.RunningDB}
		if e.Beyond != nil {
			ranges = append(ranges, e.Beyond.IntervalDB)
		}
		if e.FrontToBack != nil {
			add(e.FrontToBack.EstimateDB)
			ranges = append(ranges, e.FrontToBack.IntervalDB)
		}
		for _, s := range e.Sessions {
			add(s.EstimateDB)
			ranges = append(ranges, s.IntervalDB)
		}
		for _, s := range e.Sectors {
			add(s.EstimateDB)
		}
		for _, r := range ranges {
			if r != nil {
				add(r[0])
				add(r[1])
			}
		}
	}
	found := regexp.MustCompile("[+\u2212][0-9]+\\.[0-9]{2}").FindAllString(page, -1)
	require.Greater(t, len(found), 100)
	for _, f := range found {
		require.True(t, cells[f], "%s is no cell of a table", f)
	}
}

func TestComparisonsShareWhatIsTheSame(t *testing.T) {
	w := newWorld(10)
	in := w.input(t)
	defer in.Release()
	doc, _, err := w.params.document(in)
	require.NoError(t, err)
	entries, err := doc.decode()
	require.NoError(t, err)
	all := load(in).comparisons(entries)
	require.Len(t, all, 2, "level and directivity of a band rest on the same differences")
	require.Equal(t, []string{"lift helps", "lift favours the slope"}, all[0].claims)
	require.Len(t, all[0].lobes, 1)
	require.Len(t, all[0].lobes[0].points, 72)

	w.differences[claimBand{1, 0}] = w.differences[claimBand{1, 0}][:5]
	other := w.input(t)
	defer other.Release()
	require.Len(t, load(other).comparisons(entries), 3, "other stations, other picture")
}

func TestVerdictsDifferByShape(t *testing.T) {
	seen := map[string]string{}
	for _, v := range []string{"different", "practically the same", "undecided", "refused", "holds", "fails"} {
		require.Empty(t, seen[shape(v)], "%s looks like %s", v, seen[shape(v)])
		seen[shape(v)] = v
	}
}

func TestNum(t *testing.T) {
	for v, want := range map[float64]string{1: "1", 1.25: "1.2", -0.04: "0", -1.5: "-1.5", math.Inf(1): "0"} {
		require.Equal(t, want, num(v))
	}
	require.Equal(t, "0", num(math.NaN()))
}

func BenchmarkPage(b *testing.B) {
	w := newWorld(300)
	in := w.input(b)
	defer in.Release()
	doc, intake, err := w.params.document(in)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		_, err := w.params.page(in, doc, intake)
		require.NoError(b, err)
	}
}

// Known distances and bearings on a sphere of radius 6371.0088 km: a degree of a great circle is 111.1951 km.
func TestProject(t *testing.T) {
	const degree = 6371.0088 * math.Pi / 180
	for name, c := range map[string]struct{ lat, lon, toLat, toLon, km, bearing float64 }{
		"north":              {0, 0, 10, 0, 10 * degree, 0},
		"east":               {0, 0, 0, 90, 90 * degree, 90},
		"over the date line": {0, 179, 0, -179, 2 * degree, 90},
		"over the pole":      {80, 0, 80, 180, 20 * degree, 0},
		"from the pole":      {90, 0, 0, 30, 90 * degree, 150},
		"antipode":           {10, 20, -10, -160, 180 * degree, math.NaN()}, // no bearing is the right one
	} {
		km, bearing := atlas{latDeg: c.lat, lonDeg: c.lon}.project(c.toLat, c.toLon)
		require.InDelta(t, c.km, km, 1e-4, name) // 0.1 m: rounding, greatest near the antipode
		if !math.IsNaN(c.bearing) {
			require.InDelta(t, 0, math.Remainder(bearing-c.bearing, 360), 1e-9, name)
		}
	}
}

// A curve of the coast leaves the picture only at the rim.
func TestCoastStaysOnTheMap(t *testing.T) {
	number := regexp.MustCompile(`-?[0-9.]+`)
	for _, rim := range []float64{600, 6000, mapFarthestKm} {
		a := atlas{latDeg: 43.6, lonDeg: 86.9, known: true, rimKm: rim, stepKm: rim}
		found := number.FindAllString(a.coastlines(), -1)
		for i := 0; i+1 < len(found); i += 2 {
			var x, y float64
			_, err := fmt.Sscan(found[i]+" "+found[i+1], &x, &y)
			require.NoError(t, err)
			require.LessOrEqual(t, math.Hypot(x-centre, y-centre), mapRim+0.1)
		}
	}
	require.NotEmpty(t, atlas{latDeg: 43.6, lonDeg: 86.9, known: true, rimKm: 6000}.coastlines())
	require.Empty(t, atlas{latDeg: 43.6, lonDeg: 86.9, known: true, rimKm: 600}.coastlines(), "inland")
	require.Empty(t, atlas{rimKm: 6000}.coastlines(), "no own place")
}

func TestSizesOfScales(t *testing.T) {
	e := entry{Kind: "level", SmallestDB: 1.5, EstimateDB: at(2.86), IntervalDB: &[2]*float64{at(2.39), at(3.35)}, P: at(0.01)}
	require.Equal(t, 4.0, scaleReach([]entry{e}))
	e.IntervalDB[1] = at(99)
	require.Equal(t, 20.0, scaleReach([]entry{e}), "the scale ends somewhere")
	require.Equal(t, 157.5, quietBearing(nil))
	require.Equal(t, 202.5, quietBearing([]float64{150}))
	require.Equal(t, []float64{1, 1.5, 2, 2.5}, ticks(1, 2.5))
}

func TestWarningsStandOnce(t *testing.T) {
	common, own := warning{"a", "all"}, warning{"b", "one"}
	entries := []entry{{Claim: "x", Band: "20m", Warnings: []warning{common}}, {Claim: "y", Band: "10m", Warnings: []warning{common, own}}}
	require.Equal(t, []warnedView{{"a", "all", []string{"x, 20m", "y, 10m"}, true}, {"b", "one", []string{"y, 10m"}, false}}, warnedViews(entries))
}
