package main

import (
	"os/exec"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestShellWord(t *testing.T) {
	for name, want := range map[string]string{
		"my-wire.toml":            "my-wire.toml",
		"d/experiments/höhe.toml": "d/experiments/höhe.toml",
		"my wire.toml":            "'my wire.toml'",
		"Ann's wire.toml":         `'Ann'\''s wire.toml'`,
		"a$HOME;b.toml":           "'a$HOME;b.toml'",
		"~/wire.toml":             "'~/wire.toml'", // a folder of that name; the shell has opened the other one before
		"":                        "''",
	} {
		require.Equal(t, want, shellWord(name))
		if sh, err := exec.LookPath("sh"); err == nil {
			got, err := exec.Command(sh, "-c", "printf %s "+shellWord(name)).Output()
			require.NoError(t, err)
			require.Equal(t, name, string(got), "the shell reads it back")
		}
	}
}
