package seal

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fairlobe/stages/schedule"
)

const experiment = `{"smallest_difference_db": 1.50, "arm": [{"name": "low", "feedpoint_height_m": 4.5}, {"name": "high"}], "fixed": {"power_w": 4, "other": {}, "note": "a < b & c"}}`

func twoBlocks() []schedule.Dwell {
	start := time.Date(2026, 9, 12, 4, 0, 0, 0, time.UTC)
	var out []schedule.Dwell
	for i, arm := range []string{"low", "high", "high", "low"} {
		at := start.Add(time.Duration(i) * 9 * time.Minute)
		out = append(out, schedule.Dwell{
			Session: 1, Band: "20m", Block: i/2 + 1, Position: i%2 + 1, Arm: arm,
			Start: at, SettleEnd: at.Add(30 * time.Second), End: at.Add(6 * time.Minute),
		})
	}
	return out
}

func sealed(t *testing.T) Seal {
	t.Helper()
	s, err := Make([]byte(experiment), twoBlocks(), 1<<63+1, time.Date(2026, 9, 11, 20, 0, 0, 5, time.FixedZone("", 7200)))
	require.NoError(t, err)
	return s
}

// The canonical text is written out here by hand from RFC 8785: keys sorted, no blanks, 1.50 as 1.5.
func TestDigestCanBeRedoneByHand(t *testing.T) {
	text := `{"experiment":{"arm":[{"feedpoint_height_m":4.5,"name":"low"},{"name":"high"}],"fixed":{"note":"a < b & c","other":{},"power_w":4},"smallest_difference_db":1.5},` +
		`"order":[{"arms":["low","high"],"band":"20m","block":1,"session":1},{"arms":["high","low"],"band":"20m","block":2,"session":1}]}`
	sum := sha256.Sum256([]byte(text))
	assert.Equal(t, "sha256:"+hex.EncodeToString(sum[:]), sealed(t).Digest)
}

func TestLine(t *testing.T) {
	s := sealed(t)
	s.Name = "ridge-wire"
	assert.Equal(t, "fairlobe seal "+s.Digest+" of ridge-wire, 2 blocks, 2026-09-11T18:00:00Z", s.Line())
	s.Name, s.Order = "", s.Order[:1]
	assert.Equal(t, "fairlobe seal "+s.Digest+", 1 block, 2026-09-11T18:00:00Z", s.Line())
}

func TestMakeWantsJSON(t *testing.T) {
	_, err := Make([]byte("title = 1"), twoBlocks(), 1, time.Now())
	assert.ErrorContains(t, err, "sealing: the experiment as JSON")
}

func TestOrderNeedsNoOrderOfDwells(t *testing.T) {
	dwells := twoBlocks()
	slices.Reverse(dwells)
	again, err := Make([]byte(experiment), dwells, 1, time.Now())
	require.NoError(t, err)
	assert.Equal(t, sealed(t).Digest, again.Digest)
}

func TestWriteAndRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ridge-wire.seal.json")
	s := sealed(t)
	require.NoError(t, Write(path, s))
	got, err := Read(path)
	require.NoError(t, err)
	s.Name = "ridge-wire"
	assert.Equal(t, s, got)

	text, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Contains(t, string(text), `"sealed_at": "2026-09-11T18:00:00Z"`)
	assert.Contains(t, string(text), `"seed": "9223372036854775809"`, "as text, since 2^53 is the end of many programs")
	assert.Contains(t, string(text), "a < b & c")

	left, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	assert.Len(t, left, 1, "nothing but the seal is left behind")
}

func TestWriteNeverOverwrites(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ridge-wire.seal.json")
	require.NoError(t, Write(path, sealed(t)))
	before, err := os.ReadFile(path)
	require.NoError(t, err)

	later, err := Make([]byte(experiment), twoBlocks(), 1<<63+1, time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC))
	require.NoError(t, err)
	require.NoError(t, Write(path, later), "the same seal again is no fault")

	other, err := Make([]byte(`{"smallest_difference_db":2}`), twoBlocks(), 1, time.Now())
	require.NoError(t, err)
	err = Write(path, other)
	assert.ErrorContains(t, err, "ridge-wire.seal.json: an earlier seal stands here, of 2026-09-11 18:00Z, and it seals something else: it is never overwritten\n    mend: take the experiment back")

	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(before), string(after))

	require.NoError(t, os.WriteFile(path, []byte("notes of mine"), 0o644))
	assert.ErrorContains(t, Write(path, other), "a file stands here that is no seal")
	assert.ErrorContains(t, create(path, []byte("x")), "another seal was written at this moment")
	assert.ErrorIs(t, createInPlace(path, []byte("x")), fs.ErrExist, "also where there are no hard links")
}

func TestCreateInPlace(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.seal.json")
	require.NoError(t, createInPlace(path, []byte("whole")))
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "whole", string(text))
}

func TestWriteSaysWhyItCannot(t *testing.T) {
	err := Write(filepath.Join(t.TempDir(), "missing", "a.seal.json"), sealed(t))
	assert.ErrorIs(t, err, fs.ErrNotExist)
	assert.ErrorContains(t, err, "writing the seal")
}

func TestReadRefuses(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.seal.json")
	_, err := Read(path)
	assert.ErrorIs(t, err, fs.ErrNotExist)

	require.NoError(t, Write(path, sealed(t)))
	good, err := os.ReadFile(path)
	require.NoError(t, err)
	for _, c := range []struct{ reason, text, want string }{
		{"no JSON", "sealed!", "this is no whole seal: invalid character"},
		{"cut short", string(good[:len(good)/2]), "this is no whole seal: unexpected end"},
		{"a value changed", strings.Replace(string(good), "4.5", "4.6", 1), "its content has the digest sha256:"},
		{"an order changed", strings.Replace(string(good), `"block": 2`, `"block": 3`, 1), "its content has the digest sha256:"},
		{"another format", strings.Replace(string(good), `"format": 1`, `"format": 2`, 1), "its format is 2, and this version reads 1"},
		{"no content", `{"format":1}`, "its content:"},
		{"far too large", strings.Repeat(" ", maxBytes+1), "it is larger than 16 MiB"},
	} {
		require.NoError(t, os.WriteFile(path, []byte(c.text), 0o644))
		_, err := Read(path)
		assert.ErrorContains(t, err, c.want, c.reason)
		assert.ErrorContains(t, err, "mend: bring back the file", c.reason)
	}
}

func TestCompare(t *testing.T) {
	moved := twoBlocks()
	for i := range moved {
		moved[i].Start, moved[i].End = moved[i].Start.Add(time.Hour), moved[i].End.Add(time.Hour)
	}
	swapped := twoBlocks()
	swapped[0].Arm, swapped[1].Arm = swapped[1].Arm, swapped[0].Arm
	for _, c := range []struct {
		reason          string
		experiment      string
		dwells          []schedule.Dwell
		same, orderSame bool
		diff            []string
	}{
		{"nothing changed", experiment, twoBlocks(), true, true, nil},
		{"written in another way", strings.Replace(experiment, "1.50", "15e-1", 1), twoBlocks(), true, true, nil},
		{"clock times do not count", experiment, moved, true, true, nil},
		{"a value changed", strings.Replace(experiment, "4.5", "4.75", 1), twoBlocks(), false, true,
			[]string{"arm[0].feedpoint_height_m: sealed 4.5, now 4.75"}},
		{"a key gone, two new", strings.Replace(experiment, `"power_w": 4`, `"mode": null, "tuner": "none"`, 1), twoBlocks(), false, true,
			[]string{"fixed.mode: sealed nothing, now null", "fixed.power_w: sealed 4, now nothing", `fixed.tuner: sealed nothing, now "none"`}},
		{"an empty object filled", strings.Replace(experiment, `{}`, `{"radials": []}`, 1), twoBlocks(), false, true,
			[]string{"fixed.other: sealed {}, now nothing", "fixed.other.radials: sealed nothing, now []"}},
		{"the order changed", experiment, swapped, false, false, []string{"session 1, 20m, block 1: sealed low high, now high low"}},
		{"a block less", experiment, twoBlocks()[:2], false, false, []string{"session 1, 20m, block 2: sealed high low, now nothing"}},
		{"no JSON", "fairlobe = 1", twoBlocks(), false, true, []string{"the experiment as JSON: "}},
	} {
		t.Run(c.reason, func(t *testing.T) {
			same, orderSame, diff := Compare(sealed(t), []byte(c.experiment), c.dwells)
			assert.Equal(t, c.same, same)
			assert.Equal(t, c.orderSame, orderSame)
			require.Len(t, diff, len(c.diff))
			for i := range diff {
				assert.True(t, strings.HasPrefix(diff[i], c.diff[i]), diff[i])
			}
		})
	}
}

func FuzzParse(f *testing.F) {
	s, err := Make([]byte(experiment), twoBlocks(), 7, time.Unix(0, 0))
	if err != nil {
		f.Fatal(err)
	}
	good, err := json.Marshal(s)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add(bytes.Replace(good, []byte("low"), []byte("lo\xff"), 1))
	f.Add([]byte(`{"format":1,"content":{}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := parse(text)
		if err != nil {
			return
		}
		again, err := encode(s, "  ")
		require.NoError(t, err)
		back, err := parse(again)
		require.NoError(t, err)
		require.Equal(t, s, back)
	})
}
