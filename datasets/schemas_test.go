package datasets_test

import (
	"bytes"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
)

func schema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(datasets.VerdictsSchema))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("verdicts.schema.json", doc))
	s, err := c.Compile("verdicts.schema.json")
	require.NoError(t, err)
	return s
}

// document reads testdata/verdicts.json: one entry of each form, level, directivity, match, unfinished and refused.
func document(t *testing.T) map[string]any {
	t.Helper()
	text, err := os.ReadFile("testdata/verdicts.json")
	require.NoError(t, err)
	var doc map[string]any
	require.NoError(t, json.Unmarshal(text, &doc))
	return doc
}

func claim(doc map[string]any, i int) map[string]any {
	return doc["claims"].([]any)[i].(map[string]any)
}

const (
	level = iota
	directivity
	match
	unfinished
	refused
)

func TestVerdictsSchemaIsAValidSchema(t *testing.T) {
	var doc any
	require.NoError(t, json.Unmarshal(datasets.VerdictsSchema, &doc))
	meta, err := jsonschema.NewCompiler().Compile("https://json-schema.org/draft/2020-12/schema")
	require.NoError(t, err)
	require.NoError(t, meta.Validate(doc))
	require.Equal(t, "https://json-schema.org/draft/2020-12/schema", doc.(map[string]any)["$schema"])
}

func TestVerdictsSchemaTakesGoodDocuments(t *testing.T) {
	s := schema(t)
	for name, change := range map[string]func(map[string]any){
		"as it is":          func(map[string]any) {},
		"no claim":          func(d map[string]any) { d["claims"] = []any{} },
		"no seal":           func(d map[string]any) { d["seal"], d["sealed_before_data"] = nil, false },
		"an unbounded side": func(d map[string]any) { claim(d, level)["interval_db"] = []any{nil, 3.0} },
		"no interval":       func(d map[string]any) { claim(d, level)["interval_db"], claim(d, level)["zero_excluded"] = nil, nil },
		"received":          func(d map[string]any) { claim(d, level)["direction"] = "received" },
		"an unbounded SWR":  func(d map[string]any) { sweep(d)["highest_swr"] = nil },
		"a described interval": func(d map[string]any) {
			claim(d, refused)["evidence"], claim(d, refused)["interval_db"] = "compared", []any{1.0, 2.0}
		},
		"one arm":                       func(d map[string]any) { ofOneArm(d) },
		"one arm with a naive reading":  func(d map[string]any) { ofOneArm(d)["naive"] = bearings(0.01) },
		"a naive reading of too little": func(d map[string]any) { claim(d, directivity)["naive"] = nil },
	} {
		t.Run(name, func(t *testing.T) {
			doc := document(t)
			change(doc)
			require.NoError(t, s.Validate(doc))
		})
	}
}

func sweep(d map[string]any) map[string]any {
	return claim(d, match)["sweeps"].([]any)[0].(map[string]any)
}
func lobe(d map[string]any) map[string]any { return claim(d, directivity)["lobe"].(map[string]any) }

// ofOneArm makes the directivity of the document one of a single arm.
func ofOneArm(d map[string]any) map[string]any {
	c := claim(d, directivity)
	c["arms"], c["evidence"], c["verdict"], c["reason_code"] = []any{"low"}, "observed only", "refused", "one_arm"
	for _, key := range []string{"reach", "estimate_db", "p", "p_adjusted", "p_running", "all_round_db", "naive", "p_gate1", "p_gate2", "lobe", "front_to_back"} {
		c[key] = nil
	}
	for _, s := range c["sectors"].([]any) {
		s.(map[string]any)["estimate_db"] = nil
	}
	return c
}

func bearings(p float64) map[string]any {
	return map[string]any{"uniform_bearings_p": p, "misleading": true}
}

func TestVerdictsSchemaRefusesBrokenDocuments(t *testing.T) {
	s := schema(t)
	set := func(i int, key string, value any) func(map[string]any) {
		return func(d map[string]any) { claim(d, i)[key] = value }
	}
	without := func(i int, key string) func(map[string]any) {
		return func(d map[string]any) { delete(claim(d, i), key) }
	}
	for name, change := range map[string]func(map[string]any){
		"another format":                     func(d map[string]any) { d["format"] = 2 },
		"a key too many":                     func(d map[string]any) { d["note"] = "x" },
		"no looks":                           func(d map[string]any) { delete(d, "looks") },
		"a seal of another kind":             func(d map[string]any) { d["seal"] = "md5:abc" },
		"sealed without a seal":              func(d map[string]any) { d["seal"] = nil },
		"rows below 0":                       func(d map[string]any) { d["rows"].(map[string]any)["used"] = -1 },
		"a row count too few":                func(d map[string]any) { delete(d["rows"].(map[string]any), "merged") },
		"a claim's key too many":             set(level, "color", "red"),
		"a claim's key too few":              without(level, "p_adjusted"),
		"an unknown verdict":                 set(level, "verdict", "better"),
		"a verdict of another kind":          set(level, "verdict", "holds"),
		"a match that differs":               set(match, "verdict", "different"),
		"an unknown kind":                    set(level, "kind", "gain"),
		"an unknown evidence":                set(level, "evidence", "proved"),
		"an unknown reach":                   set(level, "reach", "everywhere"),
		"a code with a space":                set(level, "reason_code", "would pass"),
		"no sentence":                        set(level, "reason", ""),
		"p above 1":                          set(level, "p", 1.2),
		"p of 0":                             set(level, "p", 0),
		"p as text":                          set(level, "p", "0.01"),
		"an interval with one end":           set(level, "interval_db", []any{1.0}),
		"an interval with three":             set(level, "interval_db", []any{1.0, 2.0, 3.0}),
		"different without a p":              set(level, "p", nil),
		"different with a great p":           set(level, "p_adjusted", 0.06),
		"a level with gates":                 set(level, "p_gate1", 0.5),
		"a level with sweeps":                set(level, "sweeps", []any{}),
		"no direction":                       set(level, "direction", nil),
		"half a block":                       set(level, "blocks", 15.5),
		"no smallest difference":             set(level, "smallest_difference_db", 0),
		"a warning without a text":           set(level, "warnings", []any{map[string]any{"code": "thinned"}}),
		"compared and judged":                set(level, "evidence", "compared"),
		"a family without a size":            set(level, "family_size", nil),
		"not misleading":                     set(level, "naive", map[string]any{"spot_t_p": 0.1, "misleading": false}),
		"a level by bearings":                set(level, "naive", bearings(0.1)),
		"a directivity by single spots":      set(directivity, "naive", map[string]any{"spot_t_p": 0.1, "misleading": true}),
		"a naive reading of nothing":         set(level, "naive", map[string]any{"misleading": true}),
		"two naive readings":                 func(d map[string]any) { claim(d, level)["naive"].(map[string]any)["uniform_bearings_p"] = 0.1 },
		"a naive reading of what is refused": set(refused, "naive", map[string]any{"spot_t_p": 0.1, "misleading": true}),
		"one arm with a gate":                func(d map[string]any) { ofOneArm(d)["p_gate1"] = 0.1 },
		"one arm with a difference":          func(d map[string]any) { ofOneArm(d)["estimate_db"] = 0.1 },
		"one arm with differences of sectors": func(d map[string]any) {
			ofOneArm(d)["sectors"].([]any)[0].(map[string]any)["estimate_db"] = 0.1
		},
		"one arm of two":                   func(d map[string]any) { ofOneArm(d)["arms"] = []any{"high", "low"} },
		"one arm, randomised":              func(d map[string]any) { ofOneArm(d)["evidence"] = "randomised" },
		"a lobe without its swing":         func(d map[string]any) { delete(lobe(d), "swing_high_db") },
		"a directivity without gates":      without(directivity, "p_gate2"),
		"a directivity that speaks beyond": set(directivity, "reach", "beyond"),
		"an unknown shape":                 set(directivity, "shape", "round"),
		"a third harmonic":                 func(d map[string]any) { lobe(d)["harmonic"] = 3 },
		"a negative amplitude":             func(d map[string]any) { lobe(d)["amplitude_db"] = -1 },
		"a direction that is not shown": func(d map[string]any) {
			claim(d, directivity)["verdict"] = "undecided"
		},
		"a match with an estimate":       set(match, "estimate_db", 1.0),
		"a match with evidence":          set(match, "evidence", "randomised"),
		"a match without repeatability":  without(match, "repeatability"),
		"a level of repeated erections":  set(level, "repeated", []any{}),
		"a corrected interval alone":     set(level, "power_corrected_interval_db", []any{1.0, 2.0}),
		"a refused design":               set(refused, "design_interval_db", []any{1.0, 2.0}),
		"an unfinished design":           set(unfinished, "design_interval_db", []any{1.0, 2.0}),
		"late drops without a verdict":   set(level, "without_late_drops", map[string]any{"blocks": 3}),
		"a match without a limit":        without(match, "swr_at_most"),
		"a sweep of another plane":       func(d map[string]any) { sweep(d)["plane"] = "shack" },
		"unfinished with a p":            set(unfinished, "p", 0.01),
		"unfinished with an interval":    set(unfinished, "interval_db", []any{1.0, 2.0}),
		"refused with a p":               set(refused, "p", 0.5),
		"refused with a running p":       set(refused, "p_running", 0.5),
		"refused with a reach":           set(refused, "reach", "these receivers"),
		"a session without its interval": set(level, "sessions", []any{map[string]any{"session": 1, "blocks": 8, "estimate_db": 1.0}}),
	} {
		t.Run(name, func(t *testing.T) {
			doc := document(t)
			require.NoError(t, s.Validate(doc))
			change(doc)
			require.Error(t, s.Validate(doc))
		})
	}
}

// TestVerdictsSchemaDescribesEveryKey: whoever reads the schema alone understands the document.
func TestVerdictsSchemaDescribesEveryKey(t *testing.T) {
	var doc any
	require.NoError(t, json.Unmarshal(datasets.VerdictsSchema, &doc))
	found := 0
	var walk func(path string, v any)
	walk = func(path string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for name, inner := range v {
				if name == "properties" && !strings.Contains(path, "/allOf/") && !strings.HasSuffix(path, "/if") && !strings.HasSuffix(path, "/then") {
					for key, one := range inner.(map[string]any) {
						found++
						require.NotEmpty(t, one.(map[string]any)["description"], path+"/"+key)
					}
				}
				walk(path+"/"+name, inner)
			}
		case []any:
			for _, inner := range v {
				walk(path+"/", inner)
			}
		}
	}
	walk("", doc)
	require.Greater(t, found, 60)
}

func TestTablesStateUnitsAndNullability(t *testing.T) {
	for name, s := range map[string]*arrow.Schema{
		"dwells": datasets.Dwells(), "spots": datasets.Spots(), "stations": datasets.Stations(), "receptions": datasets.Receptions(),
		"listening": datasets.Listening(), "cells": datasets.Cells(), "sweeps": datasets.Sweeps(), "quarantine": datasets.Quarantine(), "verdicts": datasets.Verdicts(),
	} {
		meta := s.Metadata()
		i := meta.FindKey("sort")
		require.GreaterOrEqual(t, i, 0, name)
		for _, key := range strings.Split(meta.Values()[i], ",") {
			require.NotEmpty(t, s.FieldIndices(key), "%s is sorted by %s, which it does not have", name, key)
		}
		for _, f := range s.Fields() {
			require.GreaterOrEqual(t, f.Metadata.FindKey("comment"), 0, "%s.%s", name, f.Name)
			for suffix, unit := range map[string]string{"_db": "dB", "_km": "km", "_deg": "deg", "_mhz": "MHz", "_ohm": "Ohm", "_w": "W"} {
				if strings.HasSuffix(f.Name, suffix) {
					u := f.Metadata.FindKey("unit")
					require.GreaterOrEqual(t, u, 0, "%s.%s", name, f.Name)
					require.Equal(t, unit, f.Metadata.Values()[u], "%s.%s", name, f.Name)
				}
			}
		}
	}
}
