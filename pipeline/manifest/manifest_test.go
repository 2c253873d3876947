package manifest_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/manifest"
)

var (
	sumA = strings.Repeat("a", 64)
	sumB = strings.Repeat("b", 64)
)

func sample() manifest.Manifest {
	seed := uint64(1<<64 - 1)
	return manifest.Manifest{
		Tool: "v0.1.0", Go: "go1.26.8", Command: "tool run <x>.toml & more", Seed: &seed,
		Inputs:  []manifest.File{{"z.csv", 3, sumA}, {"a.csv", 0, sumB}},
		Stages:  []manifest.Stage{{"second", 2, sumB}, {"first", 1, sumA}},
		Outputs: []manifest.File{{"tables/x.parquet", 9, sumA}, {"report.html", 1, sumB}},
	}
}

func TestEncodeIsDeterministicAndReadsBack(t *testing.T) {
	m := sample()
	text, err := m.Encode()
	require.NoError(t, err)
	assert.Equal(t, `{
  "format": 1,
  "tool_version": "v0.1.0",
  "go_version": "go1.26.8",
  "command": "tool run <x>.toml & more",
  "seed": 18446744073709551615,
  "inputs": [
    {
      "name": "a.csv",
      "bytes": 0,
      "sha256": "`+sumB+`"
    },
    {
      "name": "z.csv",
      "bytes": 3,
      "sha256": "`+sumA+`"
    }
  ],
  "stages": [
    {
      "name": "second",
      "version": 2,
      "key": "`+sumB+`"
    },
    {
      "name": "first",
      "version": 1,
      "key": "`+sumA+`"
    }
  ],
  "outputs": [
    {
      "name": "report.html",
      "bytes": 1,
      "sha256": "`+sumB+`"
    },
    {
      "name": "tables/x.parquet",
      "bytes": 9,
      "sha256": "`+sumA+`"
    }
  ]
}
`, string(text))
	assert.Equal(t, "z.csv", m.Inputs[0].Name, "the caller's lists are left alone")

	path := filepath.Join(t.TempDir(), "manifest.json")
	require.NoError(t, manifest.Write(path, m))
	got, err := manifest.Read(path)
	require.NoError(t, err)
	again, err := got.Encode()
	require.NoError(t, err)
	assert.Equal(t, string(text), string(again))

	empty, err := manifest.Manifest{}.Encode()
	require.NoError(t, err)
	assert.Contains(t, string(empty), `"seed": null`)
	assert.NotContains(t, strings.ReplaceAll(string(empty), `"seed": null`, ""), "null", "lists without members are []")
}

func TestDecodeRefuses(t *testing.T) {
	text, err := sample().Encode()
	require.NoError(t, err)
	for _, tt := range []struct{ name, old, new, want string }{
		{"unknown key", `"format"`, `"time": 1, "format"`, `unknown field "time"`},
		{"format", `"format": 1`, `"format": 2`, "format = 2 is not known here, only 1"},
		{"more text", "\n}\n", "\n}\n{}", "more text after its end"},
		{"cut", "\n}\n", "", "unexpected EOF"},
		{"way out", `"report.html"`, `"../report.html"`, `output name "../report.html" does not stay inside its folder`},
		{"absolute", `"report.html"`, `"/report.html"`, "does not stay inside"},
		{"backslash", `"report.html"`, `"..\\report.html"`, "does not stay inside"},
		{"twice", `"report.html"`, `"tables/x.parquet"`, `output "tables/x.parquet" stands twice`},
		{"input twice", `"a.csv"`, `"z.csv"`, `input "z.csv" stands twice`},
		{"key", `"key": "` + sumA, `"key": "x` + sumA, `stage "first" has the malformed key`},
		{"size", `"bytes": 9`, `"bytes": -9`, "malformed size or SHA-256"},
		{"digest", `"sha256": "` + sumA, `"sha256": "A` + sumA[1:], "malformed size or SHA-256"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Contains(t, string(text), tt.old)
			_, err := manifest.Decode([]byte(strings.Replace(string(text), tt.old, tt.new, 1)))
			require.ErrorContains(t, err, "reading the manifest: ")
			assert.ErrorContains(t, err, tt.want)
		})
	}
	bad := sample()
	bad.Outputs[0].Name = "../x"
	path := filepath.Join(t.TempDir(), "m")
	require.ErrorContains(t, manifest.Write(path, bad), "writing the manifest: ")
	assert.NoFileExists(t, path)
	_, err = manifest.Read(path)
	require.ErrorIs(t, err, os.ErrNotExist)
}

func FuzzDecode(f *testing.F) {
	text, err := sample().Encode()
	require.NoError(f, err)
	f.Add(text)
	f.Add([]byte(`{"format":1}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := manifest.Decode(data)
		if err != nil {
			return
		}
		once, err := m.Encode()
		require.NoError(t, err, "what can be read can be written")
		again, err := manifest.Decode(once)
		require.NoError(t, err)
		twice, err := again.Encode()
		require.NoError(t, err)
		require.Equal(t, string(once), string(twice))
	})
}
