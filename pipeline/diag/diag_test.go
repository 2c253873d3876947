package diag_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/pipeline/diag"
)

func at(file string, line, column int) diag.Pos {
	return diag.Pos{File: file, Line: line, Column: column}
}

func TestPosString(t *testing.T) {
	for _, tt := range []struct {
		pos  diag.Pos
		want string
	}{
		{at("a.toml", 0, 0), "a.toml"},
		{at("a.toml", 0, 7), "a.toml"},
		{at("a.toml", 3, 0), "a.toml:3"},
		{at("a.toml", 3, 7), "a.toml:3:7"},
		{diag.Pos{}, ""},
	} {
		assert.Equal(t, tt.want, tt.pos.String())
	}
}

func TestDiagString(t *testing.T) {
	for _, tt := range []struct {
		name string
		d    diag.Diag
		want string
	}{
		{"fault", diag.Diag{Pos: at("a.toml", 14, 17), Msg: "dwell_min = 0 is not a length of time", Mend: "give minutes, for example dwell_min = 6"},
			"a.toml:14:17: dwell_min = 0 is not a length of time\n    mend: give minutes, for example dwell_min = 6"},
		{"warning", diag.Diag{Pos: at("a.csv", 2, 0), Severity: diag.Warning, Code: "late", Msg: "late"}, "a.csv:2: warning: late"},
		{"no place", diag.Diag{Msg: "no data"}, "no data"},
		{"related", diag.Diag{Pos: at("a", 1, 0), Msg: "m", Related: []diag.Pos{at("a", 2, 0), at("b", 0, 0)}, Mend: "x"},
			"a:1: m\n    see: a:2\n    see: b\n    mend: x"},
	} {
		assert.Equal(t, tt.want, tt.d.String(), tt.name)
	}
}

func TestSortOrdersAndDropsDoubles(t *testing.T) {
	a := diag.Diag{Pos: at("a", 9, 1), Msg: "m"}
	sorted := diag.List{
		a,
		{Pos: at("a", 10, 1), Msg: "m"},
		{Pos: at("a", 10, 2), Msg: "m"},
		{Pos: at("b", 1, 1), Msg: "a"},
		{Pos: at("b", 1, 1), Msg: "b"},
		{Pos: at("b", 1, 1), Severity: diag.Warning, Msg: "a"},
	}
	mixed := diag.List{sorted[5], sorted[3], a, sorted[2], sorted[4], sorted[1], a}
	assert.Equal(t, sorted, mixed.Sort())
	assert.Equal(t, sorted[5], mixed[0], "the list itself is left alone")
}

func TestErrHoldsTheFaultsOnly(t *testing.T) {
	fault := diag.Diag{Pos: at("a", 2, 0), Msg: "bad"}
	first := diag.Diag{Pos: at("a", 1, 0), Msg: "worse"}
	warning := diag.Diag{Severity: diag.Warning, Msg: "odd"}
	require.NoError(t, diag.List(nil).Err())
	require.NoError(t, diag.List{warning}.Err())

	list := diag.List{fault, warning, first}
	err := fmt.Errorf("checking: %w", list.Err())
	require.EqualError(t, err, "checking: a:1: worse\na:2: bad")
	var found diag.List
	require.True(t, errors.As(err, &found))
	assert.Equal(t, diag.List{first, fault}, found)
	assert.Equal(t, diag.List{warning}, list.Warnings())
	assert.Equal(t, diag.List{fault, first}, list.Faults())
}

func TestSortProperties(t *testing.T) {
	one := rapid.Custom(func(t *rapid.T) diag.Diag {
		return diag.Diag{
			Pos:      at(rapid.SampledFrom([]string{"a", "b"}).Draw(t, "file"), rapid.IntRange(0, 3).Draw(t, "line"), rapid.IntRange(0, 2).Draw(t, "column")),
			Severity: diag.Severity(rapid.IntRange(0, 1).Draw(t, "severity")),
			Msg:      rapid.SampledFrom([]string{"x", "y"}).Draw(t, "msg"),
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		list := diag.List(rapid.SliceOf(one).Draw(t, "list"))
		sorted := list.Sort()
		require.Equal(t, sorted, sorted.Sort(), "sorting twice changes nothing")
		require.Equal(t, sorted.Error(), diag.List(rapid.Permutation(list).Draw(t, "shuffled")).Sort().Error(), "the order before doesn't matter")
		require.Len(t, list, len(list.Faults())+len(list.Warnings()))
	})
}

func TestJSONRoundTrip(t *testing.T) {
	list := diag.List{{Pos: at("a", 1, 2), Severity: diag.Warning, Code: "c", Msg: "m", Mend: "x", Related: []diag.Pos{at("b", 1, 0)}}}
	text, err := json.Marshal(list)
	require.NoError(t, err)
	assert.JSONEq(t, `[{"pos":{"file":"a","line":1,"column":2},"severity":1,"code":"c","msg":"m","mend":"x","related":[{"file":"b","line":1}]}]`, string(text))
	var back diag.List
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, list, back)
}
