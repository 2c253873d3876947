package stages

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/experiments"
	"fairlobe/experiments/seal"
	"fairlobe/pipeline"
	"fairlobe/stages/handover"
	"fairlobe/stages/judge"
)

// atHome runs an experiment to its documents.
func atHome(t *testing.T, path string) Home {
	t.Helper()
	exp, list := experiments.Load(path)
	require.NotNil(t, exp, list.Error())
	planned, err := Schedule(exp)
	require.NoError(t, err)
	h := Home{Experiment: exp, Planned: planned, Seal: Standing{State: judge.SealNone}, Looks: 1, Name: exp.Name, Tool: "fairlobe test"}
	if sealed, err := seal.Read(path[:len(path)-len(".toml")] + seal.Suffix); err == nil {
		h.Seal = Standing{State: judge.SealSame, SealedAt: sealed.SealedAt, Digest: sealed.Digest}
	}
	data, err := Find(exp)
	require.NoError(t, err)
	graph, err := pipeline.NewGraph(append(data.Trial(planned, h.Seal, time.Time{}), data.Answers(planned, h.Seal, 1, h.Tool))...)
	require.NoError(t, err)
	h.Done, err = pipeline.Run(context.Background(), graph, pipeline.Options{})
	require.NoError(t, err)
	return h
}

func payload(files []handover.File) handover.Files {
	return func(name string) ([]byte, bool) {
		for _, f := range files {
			if f.Name == name {
				return f.Data, true
			}
		}
		return nil, false
	}
}

// What was handed over is read, judged and reported again to the same bytes.
func TestHandedOverAndMadeAgain(t *testing.T) {
	key := handover.Key{1, 2, 3}
	names := []string{"one-wire", "ridge-wire"}
	if testing.Short() {
		names = names[:1]
	}
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			h := atHome(t, "../experiments/"+name+".toml")
			out, err := h.HandOver(context.Background(), key)
			require.NoError(t, err)
			defer out.Release()
			g, err := givenIn(payload(out.Files))
			require.NoError(t, err)
			defer g.Release()
			again, err := g.Again(context.Background(), 1)
			require.NoError(t, err)
			require.GreaterOrEqual(t, len(again), 20)
			for member, want := range again {
				have, ok := payload(out.Files)(member)
				require.True(t, ok, member)
				require.Equal(t, string(have), string(want), member)
			}
		})
	}
}

func TestPrivateWords(t *testing.T) {
	exp, list := experiments.Load("../experiments/testdata/good/full.toml")
	require.NotNil(t, exp, list.Error())
	hidden := handover.NewHidden()
	hidden.Calls = []string{"Q3X", "Q4ABC/P"}
	hidden.Locators = []string{"MN93aa55", "MN83"}
	hidden.Notes = []string{"rain", "the guy rope was slack", exp.Question}
	got := map[string]string{}
	for _, w := range PrivateWords(exp, hidden, []string{"log/switches.csv", "spots/of me.adi", "cells.csv", "x"}, []string{"/home/me/trips", "/"}) {
		got[w.Text] = w.What
	}
	require.Equal(t, map[string]string{
		"Q1RDG": "your call", "Q1RDG/P": "your call", "MN83kp": "your locator", "Q2CTL": "the call of the control station", "MN83lq": "the locator of the control station",
		"Q4ABC/P": "the call of a station", "Q4ABC": "the call of a station", "MN93aa": "the locator of a station", "MN93aa55": "the locator of a station",
		"the guy rope was slack": "a note of the log", "log/switches.csv": "the name of a file", "spots/of me.adi": "the name of a file", "of me.adi": "the name of a file",
		"/home/me/trips": "the path of a folder",
	}, got, "short words, files that every bundle has, and what the experiment says itself are not searched for")
}

func TestWhatWasSealedWithAPrivateWord(t *testing.T) {
	exp, list := experiments.Load("../experiments/ridge-wire.toml")
	require.Empty(t, list)
	words := []handover.Word{{Text: "Q1RDG", What: "your call"}}
	err := CheckPrivate(exp, []handover.File{{Name: "seal.json", Data: []byte(`{"mast": "of Q1RDG"}`)}}, words)
	require.ErrorContains(t, err, "the bundle would hold Q1RDG, your call (seal.json); nothing was written")
	require.ErrorContains(t, err, "mend: it was sealed with that text")
	require.NoError(t, CheckPrivate(exp, []handover.File{{Name: "seal.json", Data: []byte(`{"mast": "of Q1RDGX"}`)}}, words))
}

// A form that gives other verdicts does not leave the house.
func TestOtherVerdictsDoNotLeave(t *testing.T) {
	h := atHome(t, "../experiments/one-wire.toml")
	h.Seal.Digest = "sha256:other"
	_, err := h.HandOver(context.Background(), handover.Key{})
	require.ErrorContains(t, err, "gives other verdicts than the data at home (verdicts.json differs, first in")
	require.ErrorContains(t, err, "nothing was written")
}
