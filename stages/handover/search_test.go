package handover

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
)

func TestFindWholeWordsInAnyCase(t *testing.T) {
	for _, c := range []struct {
		text, word string
		found      bool
	}{
		{"heard by Q2ABC today", "Q2ABC", true}, {"q2abc", "Q2ABC", true}, {"Q2ABC/P", "Q2ABC", true}, {"xQ2ABC", "Q2ABC", false},
		{"Q2ABCD", "Q2ABC", false}, {"1Q2ABC", "Q2ABC", false}, {"_Q2ABC_", "Q2ABC", true}, {"Q2 ABC", "Q2ABC", false},
		{"Q2ABC/P", "Q2ABC/P", true}, {"Q2ABC/PX", "Q2ABC/P", false}, {"Q2ABC", "Q2ABC/P", false}, {"Q2ABX Q2ABC", "Q2ABC", true},
		{"in /home/x/y.toml", "/home/x", true}, {"home/x", "/home/x", false}, {"(guy rope, slack)", "guy rope, slack", true},
		{"the ÄRGER of it", "ärger", true}, {"", "Q2ABC", false}, {"anything", "", false}, {"anything", "...", false}, {"a\x00Q2ABC\x00b", "Q2ABC", true},
	} {
		require.Equal(t, c.found, len(Find(c.text, []Word{{c.word, "x"}})) == 1, "%q in %q", c.word, c.text)
	}
}

// The search agrees with one that tries every place.
func TestFindIsThatOfEveryPlace(t *testing.T) {
	plain := func(text, word string) bool {
		inWord := func(s string) bool { return s != "" && strings.ContainsAny(s, "ab1") }
		for i := 0; i+len(word) <= len(text); i++ {
			before, after := "", ""
			if i > 0 {
				before = text[i-1 : i]
			}
			if i+len(word) < len(text) {
				after = text[i+len(word) : i+len(word)+1]
			}
			if text[i:i+len(word)] == word && !(inWord(word[:1]) && inWord(before)) && !(inWord(word[len(word)-1:]) && inWord(after)) {
				return true
			}
		}
		return false
	}
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[/]?[ab1]{1,3}([/ ][ab1]{1,2})?`).Draw(t, "word")
		text := rapid.StringMatching(`[ab1/ .]{0,30}`).Draw(t, "text")
		if found := len(Find(text, []Word{{word, ""}})) == 1; found != plain(text, word) {
			t.Fatalf("%q in %q: %t", word, text, found)
		}
	})
}

func TestSearchLooksEverywhere(t *testing.T) {
	b := table.NewBuilder(datasets.Verdicts())
	detail, err := json.Marshal(map[string]string{"reason": `the "Q2QUOTED" one`})
	require.NoError(t, err)
	b.Append(0, 0, "Q2CELL", "level", "20m", "refused", nil, "x", nil, nil, nil, nil, nil, 0, 0, string(detail))
	data, err := table.Encode(b.Record())
	require.NoError(t, err)
	files := []File{
		{"tables/verdicts.parquet", data}, {"of-q2name.json", []byte(`{"Q2KEY": ["Q2\u0056ALUE"]}`)}, {"report.html", []byte(`<b>Q2&#84;AG</b> &quot;guy &amp; rope&quot;`)},
		{"looks.csv", []byte("a,b\n\"say \"\"Q2CSV X\"\"\",2\n")}, {"experiment.toml", []byte("title = 1 # Q2TOML")},
	}
	for word, want := range map[string]string{
		"Q2CELL": "tables/verdicts.parquet", `"Q2QUOTED" one`: "tables/verdicts.parquet", "Q2NAME": "of-q2name.json", "Q2KEY": "of-q2name.json", "Q2VALUE": "of-q2name.json",
		"Q2TAG": "report.html", `"guy & rope"`: "report.html", `"Q2CSV X"`: "looks.csv", "Q2TOML": "experiment.toml", "refused": "tables/verdicts.parquet",
	} {
		hits, err := Search(files, []Word{{word, "a word"}, {"Q2NOWHERE", "a word"}})
		require.NoError(t, err)
		require.Len(t, hits, 1, word)
		require.Equal(t, want, hits[0].Member)
		require.Equal(t, word, hits[0].Word.Text)
	}
	for _, broken := range []File{{"a.json", []byte("{")}, {"a.parquet", []byte("PAR1")}, {"a.toml", []byte("\xff")}, {"a.csv", []byte("a,\"b")}} {
		_, err := Search([]File{broken}, nil)
		require.ErrorContains(t, err, "searching "+broken.Name)
	}
}

func TestDataPackage(t *testing.T) {
	b := table.NewBuilder(datasets.Receptions())
	b.Append(1, "20m", 1, "low", "sent", 0, time.Unix(1_000_000, 0), -7.0, 0.25, nil)
	receptions := b.Record()
	s := stations([]any{0, "5a5a", "", nil, nil, nil, nil, nil, nil, "unknown"})
	files := []File{{"verdicts.json", []byte("{}")}, {"tables/stations.csv", []byte("x")}, {"tables/receptions.csv", []byte("abc")}, {"tables/receptions.parquet", []byte("abcd")}}
	l := licences()[1]
	text, err := DataPackage(About{Name: "Ridge-Wire", Title: "Ridge wire", Created: time.Date(2026, 9, 13, 6, 0, 0, 0, time.UTC), Licence: &l}, files, map[string]arrow.Record{"receptions": receptions, "stations": s})
	require.NoError(t, err)
	var p dataPackage
	require.NoError(t, json.Unmarshal(text, &p))
	require.Equal(t, []string{"data-package", "ridge-wire", "Ridge wire", "2026-09-13T06:00:00Z"}, []string{p.Profile, p.Name, p.Title, p.Created})
	require.Equal(t, []Licence{l}, p.Licences)
	var names []string
	for _, r := range p.Resources {
		names = append(names, r.Name+" "+r.Path+" "+r.Profile)
		require.Equal(t, p.Licences, r.Licences)
	}
	require.Equal(t, []string{"receptions.csv tables/receptions.csv tabular-data-resource", "receptions.parquet tables/receptions.parquet data-resource",
		"stations.csv tables/stations.csv tabular-data-resource", "verdicts.json verdicts.json data-resource"}, names)
	r := p.Resources[0]
	require.Equal(t, []any{3, "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", "csv", "text/csv", "utf-8"}, []any{r.Bytes, r.Hash, r.Format, r.MediaType, r.Encoding}, "FIPS 180-4, SHA-256 of abc")
	require.Equal(t, tableField{Name: "snr_db", Type: "number", Description: "signal-to-noise ratio as reported", Unit: "dB", Constraints: &constraints{true}}, r.Schema.Fields[7])
	require.Equal(t, tableField{Name: "slot", Type: "datetime", Format: "default", Description: "start of the transmit slot", Constraints: &constraints{true}}, r.Schema.Fields[6])
	require.Nil(t, r.Schema.Fields[9].Constraints, "power may be missing")
	require.Equal(t, []foreignKey{{"station", reference{"stations.csv", "number"}}}, r.Schema.ForeignKeys)
	require.Equal(t, "integer", p.Resources[2].Schema.Fields[0].Type)
	require.Nil(t, p.Resources[2].Schema.Fields[2].Constraints, "an empty place reads as a missing one")
	require.Nil(t, p.Resources[3].Schema)

	text, err = DataPackage(About{Name: "x", Title: "x"}, files[:1], nil)
	require.NoError(t, err)
	require.NotContains(t, string(text), "licenses")
	_, err = DataPackage(About{}, []File{{"a.exe", nil}}, nil)
	require.ErrorContains(t, err, "unknown format")
}
