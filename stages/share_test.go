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
	for _, name := range []string{"ridge-wire", "one-wire"} {
		t.Run(name, func(t *testing.T) {
			h := atHome(t, "../experiments/"+name+".toml")
			out, err := h.HandOver(context.Background(), key)
			require.NoError(t, err)
			defer out.Release()
			g, err := GivenIn(payload(out.Files))
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
