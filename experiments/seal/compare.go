package seal

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/gowebpki/jcs"

	"fairlobe/stages/schedule"
)

// Compare holds an experiment, given as JSON, and the order of its dwells against a seal. same tells
// whether the digests agree, orderSame whether the order alone does; clock times count in neither. diff has
// one line for each key or block that differs, keys first, in alphabetical order, then blocks.
func Compare(s Seal, canonical []byte, dwells []schedule.Dwell) (same, orderSame bool, diff []string) {
	now := order(dwells)
	orderDiff := diffOrder(s.Order, now)
	content, err := jcs.Transform(canonical)
	if err != nil {
		return false, len(orderDiff) == 0, append([]string{"the experiment as JSON: " + err.Error()}, orderDiff...)
	}
	diff = append(diffContent(s.Content, content), orderDiff...)
	is, err := digest(content, now)
	return err == nil && is == s.Digest, len(orderDiff) == 0, diff
}

// Added names the claims of an experiment, given as JSON, that the seal does not know.
func Added(s Seal, canonical []byte) ([]string, error) {
	type claims struct{ Claim []struct{ Name string } }
	var sealed, now claims
	if err := json.Unmarshal(s.Content, &sealed); err != nil {
		return nil, fmt.Errorf("reading the claims of the seal: %w", err)
	}
	if err := json.Unmarshal(canonical, &now); err != nil {
		return nil, fmt.Errorf("reading the claims of the experiment: %w", err)
	}
	known := map[string]bool{}
	for _, c := range sealed.Claim {
		known[c.Name] = true
	}
	var added []string
	for _, c := range now.Claim {
		if !known[c.Name] {
			added = append(added, c.Name)
		}
	}
	return added, nil
}

func diffOrder(sealed, now []Block) []string {
	type key struct {
		session, block int
		band           string
	}
	was, is := map[key]string{}, map[key]string{}
	keys := []key{}
	note := func(blocks []Block, in map[key]string) {
		for _, b := range blocks {
			k := key{b.Session, b.Block, b.Band}
			in[k] = strings.Join(b.Arms, " ")
			keys = append(keys, k)
		}
	}
	note(sealed, was)
	note(now, is)
	var out []string
	done := map[key]bool{}
	for _, k := range keys {
		if !done[k] && was[k] != is[k] {
			out = append(out, fmt.Sprintf("session %d, %s, block %d: sealed %s, now %s", k.session, k.band, k.block, orNothing(was[k]), orNothing(is[k])))
		}
		done[k] = true
	}
	return out
}

func orNothing(s string) string {
	if s == "" {
		return "nothing"
	}
	return s
}

func diffContent(sealed, now []byte) []string {
	was, is := flat(sealed), flat(now)
	keys := slices.Sorted(maps.Keys(was))
	for k := range is {
		if _, known := was[k]; !known {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	var out []string
	for _, k := range keys {
		if was[k] != is[k] {
			out = append(out, fmt.Sprintf("%s: sealed %s, now %s", k, orNothing(was[k]), orNothing(is[k])))
		}
	}
	return out
}

// flat gives every value that holds no other one under its path, such as "arm[1].feedpoint_height_m", as
// canonical JSON. An empty list or object is a value.
func flat(canonical []byte) map[string]string {
	dec := json.NewDecoder(strings.NewReader(string(canonical)))
	dec.UseNumber()
	var v any
	out := map[string]string{}
	if dec.Decode(&v) == nil {
		flatten(out, "", v)
	}
	return out
}

func flatten(out map[string]string, path string, v any) {
	switch v := v.(type) {
	case map[string]any:
		for k, inner := range v {
			flatten(out, strings.TrimPrefix(path+"."+k, "."), inner)
		}
		if len(v) == 0 {
			out[path] = "{}"
		}
	case []any:
		for i, inner := range v {
			flatten(out, fmt.Sprintf("%s[%d]", path, i), inner)
		}
		if len(v) == 0 {
			out[path] = "[]"
		}
	case string:
		out[path] = fmt.Sprintf("%q", v)
	case nil:
		out[path] = "null"
	default:
		out[path] = fmt.Sprint(v)
	}
}
