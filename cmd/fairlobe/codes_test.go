package main

import (
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"fairlobe/stages/judge"
)

// codesWithoutCase names the codes that have no data set here yet, as "reason x" or "warning x". A code that is neither
// reached nor named fails the test.
var codesWithoutCase = []string{}

// everyShort is of how many cases one runs with -short.
const everyShort = 5

// Every reason and every warning of verdicts.json is reached by the command on a data set of its own, and is not there
// on the one beside it, which lacks the cause alone.
func TestEveryCodeIsReached(t *testing.T) {
	c := codeTable{schema: verdictsSchema(t), controls: map[string]*control{}}
	reached := map[string]bool{}
	for _, of := range []struct {
		name  string
		cases []codeCase
	}{{"reason", reasonCases()}, {"warning", warningCases()}} {
		for i, one := range of.cases {
			reached[of.name+" "+one.code] = true
			if testing.Short() && i%everyShort != 0 {
				continue // the race detector looks at a part; the whole table runs without it
			}
			if c.controls[one.from] == nil {
				c.controls[one.from] = &control{}
			}
			t.Run(strings.Join(strings.Fields(of.name+" "+one.code+" "+one.name), "_"), func(t *testing.T) {
				t.Parallel()
				c.check(t, of.name, one)
			})
		}
	}
	t.Run("all", func(t *testing.T) {
		for _, code := range judge.Codes() {
			name := code.Of + " " + code.Code
			require.NotEqual(t, reached[name], slices.Contains(codesWithoutCase, name), "%s: give it a case, or take it from the list of those without one", name)
			delete(reached, name)
		}
		for _, name := range codesWithoutCase {
			of, code, _ := strings.Cut(name, " ")
			require.True(t, listed(of, code), "%s is not listed any more: take it from the list of those without a case", name)
		}
		require.Empty(t, reached, "codes that are not listed")
	})
}

// codeTable is what the cases share.
type codeTable struct {
	schema   *jsonschema.Schema
	controls map[string]*control
}

// control is a base that was run once.
type control struct {
	once sync.Once
	got  found
}

func (c codeTable) check(t *testing.T, of string, one codeCase) {
	s := smallBase(one.from)
	one.make(s)
	got := c.run(t, s)
	at := slices.IndexFunc(got.Claims, func(e foundClaim) bool { return e.Band == "20m" && (one.claim == "" || e.Claim == one.claim) })
	require.GreaterOrEqual(t, at, 0)
	e := got.Claims[at]
	text := e.text(of, one.code)
	require.NotEmpty(t, text, "the code is not there: %+v", e)
	t.Logf("%s %s: %s", of, one.code, text) // with -v the table reads as the user would read it
	for _, words := range one.says {
		require.Contains(t, text, words)
	}
	if one.verdict != "" {
		require.Equal(t, one.verdict, e.Verdict)
	}
	if one.evidence != "" {
		require.Equal(t, &one.evidence, e.Evidence)
	}
	c.checkBase(t, of, one)
}

// checkBase asks that the code does not stand where its cause does not, and that nothing else is wrong there.
func (c codeTable) checkBase(t *testing.T, of string, one codeCase) {
	base := c.controls[one.from]
	base.once.Do(func() { base.got = c.run(t, smallBase(one.from)) })
	require.NotEmpty(t, base.got.Claims)
	for _, e := range base.got.Claims {
		if one.claim == "" || e.Claim == one.claim {
			require.Empty(t, e.text(of, one.code), "the code stands where its cause does not")
		}
		for _, w := range e.Warnings {
			require.Contains(t, baseWarnings(e.Kind), w.Code, "of the base %s", one.from)
		}
	}
}

// baseWarnings are those that belong to a kind of claim, or to what it needs.
func baseWarnings(kind string) []string {
	return map[string][]string{"match": {"match_is_not_efficiency"}, "reciprocity": {"power_claimed"}, "repeat": {"one_erection"}}[kind]
}

// run runs a data set. Whatever it finds, verdicts.json follows its schema and holds listed codes only.
func (c codeTable) run(t *testing.T, s *smallTrial) found {
	got, text := s.run(t)
	value, err := jsonschema.UnmarshalJSON(strings.NewReader(string(text)))
	require.NoError(t, err)
	require.NoError(t, c.schema.Validate(value))
	for _, e := range got.Claims {
		require.True(t, listed("reason", e.Code), e.Code)
		for _, w := range e.Warnings {
			require.True(t, listed("warning", w.Code), w.Code)
		}
	}
	return got
}

func listed(of, code string) bool {
	return slices.ContainsFunc(judge.Codes(), func(c judge.Code) bool { return c.Of == of && c.Code == code })
}

// text gives the sentence that stands with a code, "" if the code is not there.
func (e foundClaim) text(of, code string) string {
	if of == "reason" {
		if e.Code == code {
			return e.Reason
		}
		return ""
	}
	for _, w := range e.Warnings {
		if w.Code == code {
			return w.Text
		}
	}
	return ""
}

func verdictsSchema(t *testing.T) *jsonschema.Schema {
	schema, err := jsonschema.NewCompiler().Compile("../../datasets/verdicts.schema.json")
	require.NoError(t, err)
	return schema
}
