package delimited

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func zipped(t testing.TB, text string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, err := z.Write([]byte(text))
	require.NoError(t, err)
	require.NoError(t, z.Close())
	return b.Bytes()
}

func gunzipped(data []byte, limit int64) (string, error) {
	r, err := Gunzip(bytes.NewReader(data), limit)
	if err != nil {
		return "", err
	}
	out, err := io.ReadAll(r)
	return string(out), err
}

func TestGunzip(t *testing.T) {
	text := strings.Repeat("a,b\n1,2\n", 5000)
	z := zipped(t, text)
	for name, data := range map[string][]byte{"packed": z, "plain": []byte(text)} {
		got, err := gunzipped(data, MaxUnpackedBytes)
		require.NoError(t, err, name)
		assert.Equal(t, text, got, name)
	}
	for _, short := range []string{"", "a", "\x1f"} {
		got, err := gunzipped([]byte(short), 10)
		require.NoError(t, err)
		assert.Equal(t, short, got)
	}
	got, err := gunzipped(append(zipped(t, "a,b\n"), zipped(t, "1,2\n")...), 8)
	require.NoError(t, err, "RFC 1952, section 2.2: a file is a series of members")
	assert.Equal(t, "a,b\n1,2\n", got)
}

func TestGunzipLimit(t *testing.T) {
	z := zipped(t, strings.Repeat("x", 1000))
	got, err := gunzipped(z, 1000)
	require.NoError(t, err, "just the limit")
	assert.Len(t, got, 1000)
	got, err = gunzipped(z, 999)
	require.ErrorIs(t, err, ErrUnpackedTooLarge)
	assert.EqualError(t, err, "the gzip file unpacks to too much: over 999 bytes; split it")
	assert.Len(t, got, 999)
}

func TestGunzipDamage(t *testing.T) {
	z := zipped(t, strings.Repeat("a,b\n1,2\n", 50))
	for n := 2; n < len(z); n++ {
		_, err := gunzipped(z[:n], MaxUnpackedBytes)
		require.ErrorIs(t, err, io.ErrUnexpectedEOF, "%d bytes", n)
		require.ErrorContains(t, err, "the gzip file is cut: copy or download it again")
	}
	for name, at := range map[string]int{"method": 2, "data": 12, "checksum": len(z) - 8} {
		bad := bytes.Clone(z)
		bad[at] ^= 0xff
		_, err := gunzipped(bad, MaxUnpackedBytes)
		assert.ErrorContains(t, err, "the gzip file is damaged: copy or download it again", name)
	}
	broken := errors.New("disk gone")
	_, err := Gunzip(iotest.ErrReader(broken), 1)
	require.ErrorIs(t, err, broken)
	r, err := Gunzip(io.MultiReader(bytes.NewReader(z[:20]), iotest.ErrReader(broken)), MaxUnpackedBytes)
	require.NoError(t, err)
	_, err = io.ReadAll(r)
	require.ErrorIs(t, err, broken)
	assert.NotContains(t, err.Error(), "damaged")
}

// TestCutTableKeepsItsRows: rows before the cut are given, then the error; no half row.
func TestCutTableKeepsItsRows(t *testing.T) {
	z := zipped(t, "a,b\n"+strings.Repeat("1,2\n", 100))
	r, err := Gunzip(bytes.NewReader(z[:len(z)-4]), MaxUnpackedBytes)
	require.NoError(t, err)
	d, err := Open(r, commas)
	require.NoError(t, err)
	items, err := readAll(d)
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
	assert.Equal(t, repeated(100), items)
}
