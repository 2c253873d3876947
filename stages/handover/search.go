package handover

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"html"
	"maps"
	"path"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"fairlobe/pipeline/table"
)

// Word is something that must not leave the house. What says in words what it is.
type Word struct{ Text, What string }

// Hit is a private word that was found.
type Hit struct {
	Member string // the file of the payload
	Where  string // inside it, "" for the text itself
	Word   Word
}

// Search looks for words in every file of a payload, in any case of letters and as whole words: in the names of the files, in texts
// as they stand and as they read when they are decoded (JSON, CSV, HTML), and in all texts of Parquet files. Each word is told once
// for each file.
func Search(files []File, words []Word) ([]Hit, error) {
	s := newSearcher(words)
	var hits []Hit
	for _, f := range files {
		seen := map[Word]bool{}
		find := func(where, text string) {
			for _, w := range s.in(text) {
				if !seen[w] {
					seen[w] = true
					hits = append(hits, Hit{f.Name, where, w})
				}
			}
		}
		visit := func(where, text string) {
			find(where, text)
			var inner any
			if strings.HasPrefix(text, "{") && json.Unmarshal([]byte(text), &inner) == nil { // a cell may hold JSON
				eachString(inner, func(_, text string) { find(where, text) })
			}
		}
		visit("its name", f.Name)
		if err := eachText(f, visit); err != nil {
			return nil, fmt.Errorf("searching %s: %w", f.Name, err)
		}
	}
	return hits, nil
}

// Find gives the words that a text holds.
func Find(text string, words []Word) []Word { return newSearcher(words).in(text) }

// eachText shows the texts of a file.
func eachText(f File, visit func(where, text string)) error {
	if path.Ext(f.Name) == ".parquet" {
		return table.Texts(f.Data, visit)
	}
	if !utf8.Valid(f.Data) {
		return fmt.Errorf("it is no text in UTF-8")
	}
	visit("", string(f.Data))
	switch path.Ext(f.Name) {
	case ".html":
		visit("", html.UnescapeString(string(f.Data)))
	case ".json":
		if !json.Valid(f.Data) {
			return fmt.Errorf("it is no JSON")
		}
	case ".csv":
		rows, err := csv.NewReader(bytes.NewReader(f.Data)).ReadAll()
		if err != nil {
			return err
		}
		for n, row := range rows {
			for _, cell := range row {
				visit(fmt.Sprintf("line %d", n+1), cell)
			}
		}
	}
	return nil
}

// eachString shows every text and key of JSON.
func eachString(v any, visit func(where, text string)) {
	switch v := v.(type) {
	case string:
		visit("", v)
	case []any:
		for _, item := range v {
			eachString(item, visit)
		}
	case map[string]any:
		for _, key := range slices.Sorted(maps.Keys(v)) {
			visit("", key)
			eachString(v[key], visit)
		}
	}
}

// searcher finds words by the first run of letters and digits in them.
type searcher struct {
	byFirst map[string][]wanted
}

type wanted struct {
	lower  string
	offset int // of the first run in it
	word   Word
}

func newSearcher(words []Word) *searcher {
	s := &searcher{byFirst: map[string][]wanted{}}
	for _, w := range words {
		lower := strings.ToLower(strings.TrimSpace(w.Text))
		from, to := run(lower, 0)
		if from == to {
			continue
		}
		s.byFirst[lower[from:to]] = append(s.byFirst[lower[from:to]], wanted{lower, from, w})
	}
	return s
}

// run gives the first run of letters and digits from a place on; empty if there is none.
func run(text string, at int) (from, to int) {
	inWord := func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }
	from = strings.IndexFunc(text[at:], inWord)
	if from < 0 {
		return len(text), len(text)
	}
	from += at
	length := strings.IndexFunc(text[from:], func(r rune) bool { return !inWord(r) })
	if length < 0 {
		return from, len(text)
	}
	return from, from + length
}

// in gives the words that a text holds.
func (s *searcher) in(text string) []Word {
	var out []Word
	lower := strings.ToLower(text)
	for from, to := run(lower, 0); from < to; from, to = run(lower, to) {
		for _, w := range s.byFirst[lower[from:to]] {
			begin := from - w.offset
			if begin < 0 || !strings.HasPrefix(lower[begin:], w.lower) || !endsThere(lower, begin+len(w.lower), w.lower) {
				continue
			}
			if !slices.Contains(out, w.word) {
				out = append(out, w.word)
			}
		}
	}
	return out
}

// endsThere tells whether a word ends at a place: no letter or digit goes on from its own last one.
func endsThere(text string, at int, word string) bool {
	last, _ := utf8.DecodeLastRuneInString(word)
	next, _ := utf8.DecodeRuneInString(text[at:])
	inWord := func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }
	return at == len(text) || !inWord(last) || !inWord(next)
}
