package main

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// Of two first uses at the same time one keeps its key, and the other one writes nothing.
func TestKeyDrawnTwiceAtATime(t *testing.T) {
	home := t.TempDir()
	for _, name := range []string{"HOME", "XDG_CONFIG_HOME", "AppData"} {
		t.Setenv(name, home)
	}
	first, err := findKey("")
	require.NoError(t, err)
	second, err := findKey("")
	require.NoError(t, err)
	require.True(t, first.made && second.made)
	require.NotEqual(t, first.Key, second.Key)

	require.NoError(t, first.keep())
	require.ErrorContains(t, second.keep(), "another key was drawn here meanwhile; nothing was written")
	text, err := os.ReadFile(first.path)
	require.NoError(t, err)
	require.Equal(t, string(first.Text()), string(text))

	again, err := findKey("")
	require.NoError(t, err)
	require.Equal(t, first.Key, again.Key)
	require.False(t, again.made)
	require.NoError(t, again.keep())
}
