package bag

import (
	"bytes"
	"errors"
	"maps"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/diag"
)

// Whatever the bytes: no panic, no more memory than the limits allow, findings with a code and a mend; and what is accepted packs
// again to the same identity and reads the same.
func FuzzRead(f *testing.F) {
	f.Add(packedGood())
	for _, h := range hostiles() {
		if data := h.data(); len(data) < 1<<14 {
			f.Add(data)
		}
	}
	limits := Limits{Bytes: 1 << 20, Members: 100}
	f.Fuzz(func(t *testing.T, data []byte) { readAnything(t, data, limits) })
}

// The same behind a zip that is in order, so that the tag files are reached.
func FuzzTagFiles(f *testing.F) {
	good := bagFiles()
	f.Add(good[bagitFile], good[infoFile], good[manifestFile], good[tagmanifestFile], "tables/cells.csv", good["data/tables/cells.csv"])
	f.Fuzz(func(t *testing.T, bagit, info, manifest, tagmanifest, name, data string) {
		if len(name) > 1000 {
			return
		}
		files := bagFiles()
		delete(files, "data/tables/cells.csv")
		files[bagitFile], files[infoFile], files[manifestFile], files[tagmanifestFile] = bagit, info, manifest, tagmanifest
		files[payloadDir+name] = data
		var z forgery
		for _, name := range slices.Sorted(maps.Keys(files)) {
			z.files = append(z.files, forged{name: "ridge-wire/" + name, data: []byte(files[name])})
		}
		readAnything(t, z.bytes(), Limits{Bytes: 1 << 20})
	})
}

func readAnything(t *testing.T, data []byte, limits Limits) {
	b, err := Read(bytes.NewReader(data), int64(len(data)), "bundle.zip", limits)
	if err != nil {
		var list diag.List
		require.True(t, errors.As(err, &list))
		require.Nil(t, b)
		for _, d := range list {
			require.NotEmpty(t, d.Code)
			require.NotEmpty(t, d.Msg)
			require.NotEmpty(t, d.Mend)
		}
		return
	}
	var payload []File
	var sum int64
	for _, name := range b.Names() {
		data, _ := b.File(name)
		payload = append(payload, File{name, data})
		sum += int64(len(data))
	}
	require.LessOrEqual(t, sum, limits.Bytes)
	var fields []Field
	for _, field := range b.Fields() {
		if field.Label != OxumLabel && field.Label != IdentifierLabel {
			fields = append(fields, field)
		}
	}
	var again bytes.Buffer
	identity, err := Pack(&again, b.Name(), payload, fields)
	require.NoError(t, err)
	require.Equal(t, b.Identity(), identity)
	c, err := Read(bytes.NewReader(again.Bytes()), int64(again.Len()), "bundle.zip", limits)
	require.NoError(t, err)
	require.Equal(t, b.Names(), c.Names())
	require.ElementsMatch(t, b.Fields(), c.Fields())
}
