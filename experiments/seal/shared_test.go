package seal

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The canonical text of the shared content is written out here by hand, as in TestDigestCanBeRedoneByHand.
func TestSharedSeal(t *testing.T) {
	s := sealed(t)
	shared, err := Share(s, []byte(`{"smallest_difference_db": 1.50, "arm": []}`))
	require.NoError(t, err)
	sum := sha256.Sum256([]byte(`{"experiment":{"arm":[],"smallest_difference_db":1.5},` +
		`"order":[{"arms":["low","high"],"band":"20m","block":1,"session":1},{"arms":["high","low"],"band":"20m","block":2,"session":1}]}`))
	assert.Equal(t, "sha256:"+hex.EncodeToString(sum[:]), shared.SharedDigest)
	assert.Equal(t, s.Digest, shared.Digest, "the line that was sent to somebody stays true")
	assert.Equal(t, s.SealedAt, shared.SealedAt)
	assert.Equal(t, sealed(t), s, "the seal at home is as it was")

	text, err := shared.Encode()
	require.NoError(t, err)
	back, err := ReadShared(text)
	require.NoError(t, err)
	assert.Equal(t, shared, back)
	same, orderSame, diff := back.Compare([]byte(`{"arm": [], "smallest_difference_db": 1.5}`), twoBlocks())
	assert.True(t, same && orderSame, diff)
	same, orderSame, diff = back.Compare([]byte(`{"arm": [], "smallest_difference_db": 2}`), twoBlocks())
	assert.False(t, same)
	assert.True(t, orderSame)
	assert.Len(t, diff, 1)

	for name, broken := range map[string]string{
		"another value": strings.Replace(string(text), "1.5", "1.6", 1), "another order": strings.Replace(string(text), `"low"`, `"mid"`, 1),
		"another format": strings.Replace(string(text), `"format": 1`, `"format": 2`, 1), "cut": string(text[:len(text)/2]), "no content": `{"format": 1}`,
		"far too large": strings.Repeat(" ", maxBytes+1),
	} {
		_, err := ReadShared([]byte(broken))
		assert.Error(t, err, name)
	}
	_, err = Share(s, []byte("no JSON"))
	assert.ErrorContains(t, err, "its content as JSON")
}

func FuzzReadShared(f *testing.F) {
	s, err := Make([]byte(experiment), twoBlocks(), 7, time.Unix(0, 0))
	if err != nil {
		f.Fatal(err)
	}
	shared, err := Share(s, []byte(`{"a": 1.50}`))
	if err != nil {
		f.Fatal(err)
	}
	good, err := shared.Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add([]byte(`{"format":1,"content":{},"shared_digest":"sha256:"}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := ReadShared(text)
		if err != nil {
			return
		}
		again, err := s.Encode()
		require.NoError(t, err)
		back, err := ReadShared(again)
		require.NoError(t, err)
		require.Equal(t, s, back)
	})
}
