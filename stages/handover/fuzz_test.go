package handover

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func FuzzReadStanding(f *testing.F) {
	good, err := Standing{Name: "x", Tool: "fairlobe 1", Seal: "sha256:00", SealState: "same", SealedMs: 5, Looks: 2, Added: []string{"a"}}.Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add([]byte(`{"format":1,"seal_state":"none","looks":1}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := ReadStanding(text)
		if err != nil {
			return
		}
		again, err := s.Encode()
		require.NoError(t, err)
		back, err := ReadStanding(again)
		require.NoError(t, err)
		back.Added, s.Added = append([]string{}, back.Added...), append([]string{}, s.Added...)
		require.Equal(t, s, back)
	})
}

// Whatever an operator has written into a log, the form that leaves has no note, and the search for one finds nothing.
func FuzzHideLog(f *testing.F) {
	f.Add([]byte("time,entered,event,session,band,block,arm,value,note\n2026-09-12T04:00:00Z,,remark,,,,,,a note\n"))
	f.Add([]byte("time,note\n,\"x\ny\"\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		hidden := NewHidden()
		away, err := HideLog(text, hidden)
		if err != nil {
			return
		}
		again := NewHidden()
		back, err := HideLog(away, again)
		require.NoError(t, err)
		require.Empty(t, again.Notes)
		require.Equal(t, string(away), string(back))
	})
}
