package bag

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestPackAndRead(t *testing.T) {
	files := []File{{"datapackage.json", []byte("{}")}, {"tables/cells.csv", []byte("a,b\n1,2\n")}}
	var b bytes.Buffer
	identity, err := Pack(&b, "ridge-wire", files, []Field{{"External-Description", "Ridge wire"}})
	require.NoError(t, err)
	got, err := Read(bytes.NewReader(b.Bytes()), int64(b.Len()), "ridge-wire.zip", Limits{})
	require.NoError(t, err)
	require.Equal(t, identity, got.Identity())
	require.Equal(t, []string{"datapackage.json", "tables/cells.csv"}, got.Names())
}
