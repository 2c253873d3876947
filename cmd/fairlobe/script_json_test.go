package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
)

// follows asks that a JSON text follows the schema of verdicts.json, or of pooled.json: follows stdout, follows stdout pooled.
func follows(ts *testscript.TestScript, _ bool, args []string) {
	name := "VERDICTS_SCHEMA"
	if len(args) > 1 && args[1] == "pooled" {
		name = "POOLED_SCHEMA"
	}
	schema, err := jsonschema.NewCompiler().Compile(ts.Getenv(name))
	ts.Check(err)
	value, err := jsonschema.UnmarshalJSON(strings.NewReader(ts.ReadFile(args[0])))
	ts.Check(err)
	ts.Check(schema.Validate(value))
}

// rows asks that a CSV file has so many rows below its header, all as long as it: rows FILE N, or N+ for at least N.
func rows(ts *testscript.TestScript, _ bool, args []string) {
	all, err := readCSV(ts.MkAbs(args[0]))
	ts.Check(err)
	digits, more := strings.CutSuffix(args[1], "+")
	want, err := strconv.Atoi(digits)
	ts.Check(err)
	if got := len(all) - 1; got != want && (!more || got < want) {
		ts.Fatalf("%s has %d rows, want %s", args[0], got, args[1])
	}
}

func readCSV(path string) ([][]string, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return csv.NewReader(f).ReadAll()
}

// mirrored asks that two verdicts.json are those of one trial with the compared arms exchanged: mirrored A B.
func mirrored(ts *testscript.TestScript, _ bool, args []string) {
	ts.Check(checkMirrored([]byte(ts.ReadFile(args[0])), []byte(ts.ReadFile(args[1]))))
}

type answer struct {
	Claim, Kind, Band string
	Verdict           string
	Estimate          *float64    `json:"estimate_db"`
	Interval          *[2]float64 `json:"interval_db"`
	P                 *float64    `json:"p"`
	PAdjusted         *float64    `json:"p_adjusted"`
	PRunning          *float64    `json:"p_running"`
	Sectors           []struct {
		From     float64  `json:"from_deg"`
		Estimate *float64 `json:"estimate_db"`
	} `json:"sectors"`
	FrontToBack *struct {
		Estimate *float64 `json:"estimate_db"`
	} `json:"front_to_back"`
}

func checkMirrored(a, b []byte) error {
	var one, other struct{ Claims []answer }
	if err := json.Unmarshal(a, &one); err != nil {
		return err
	}
	if err := json.Unmarshal(b, &other); err != nil {
		return err
	}
	if len(one.Claims) != len(other.Claims) || len(one.Claims) == 0 {
		return fmt.Errorf("%d claims and %d", len(one.Claims), len(other.Claims))
	}
	tested := 0
	for i, x := range one.Claims {
		y := other.Claims[i]
		where := x.Claim + ", " + x.Band
		if x.Claim != y.Claim || x.Band != y.Band || x.Verdict != y.Verdict {
			return fmt.Errorf("%s %s and %s, %s %s", where, x.Verdict, y.Claim, y.Band, y.Verdict)
		}
		if x.Kind == "match" {
			continue
		}
		if x.P == nil {
			return fmt.Errorf("%s: there is no p to compare", where)
		}
		tested++
		if err := x.mirrors(y); err != nil {
			return fmt.Errorf("%s: %w", where, err)
		}
	}
	if tested == 0 {
		return fmt.Errorf("no claim compares arms")
	}
	return nil
}

func (x answer) mirrors(y answer) error {
	for _, p := range []struct {
		name string
		a, b *float64
		sign float64
	}{
		{"estimate", x.Estimate, y.Estimate, -1},
		{"p", x.P, y.P, 1}, {"p_adjusted", x.PAdjusted, y.PAdjusted, 1}, {"p_running", x.PRunning, y.PRunning, 1},
	} {
		if !times(p.a, p.b, p.sign) {
			return fmt.Errorf("%s is %s and %s", p.name, shown(p.a), shown(p.b))
		}
	}
	if x.Interval != nil && (y.Interval == nil || *x.Interval != [2]float64{-y.Interval[1], -y.Interval[0]}) {
		return fmt.Errorf("interval %v and %v", x.Interval, y.Interval)
	}
	if len(x.Sectors) != len(y.Sectors) {
		return fmt.Errorf("%d sectors and %d", len(x.Sectors), len(y.Sectors))
	}
	for k, s := range x.Sectors {
		if s.From != y.Sectors[k].From || !times(s.Estimate, y.Sectors[k].Estimate, -1) {
			return fmt.Errorf("sector %v: %s and %s", s.From, shown(s.Estimate), shown(y.Sectors[k].Estimate))
		}
	}
	if x.FrontToBack != nil && !times(x.FrontToBack.Estimate, y.FrontToBack.Estimate, -1) {
		return fmt.Errorf("front to back: %s and %s", shown(x.FrontToBack.Estimate), shown(y.FrontToBack.Estimate))
	}
	return nil
}

// times tells that b is a times the sign. Both are rounded decimals, so nothing may be lost.
func times(a, b *float64, sign float64) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *b == math.Copysign(1, sign)**a
}

func shown(x *float64) string {
	if x == nil {
		return "null"
	}
	return strconv.FormatFloat(*x, 'g', -1, 64)
}

// A check that can't fail checks nothing.
func TestMirroredCanFail(t *testing.T) {
	const with = `{"claims":[{"claim":"c","kind":"level","band":"20m","verdict":"different","estimate_db":%s,"interval_db":[%s],"p":%s}]}`
	text := func(estimate, interval, p string) []byte { return []byte(fmt.Sprintf(with, estimate, interval, p)) }
	good := text("1.5", "1,2", "0.01")
	require.NoError(t, checkMirrored(good, text("-1.5", "-2,-1", "0.01")))
	for name, bad := range map[string][]byte{
		"estimate": text("1.5", "-2,-1", "0.01"),
		"interval": text("-1.5", "1,2", "0.01"),
		"p":        text("-1.5", "-2,-1", "0.02"),
		"no p":     text("-1.5", "-2,-1", "null"),
		"no claim": []byte(`{"claims":[]}`),
	} {
		require.Error(t, checkMirrored(good, bad), name)
	}
}
