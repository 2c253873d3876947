package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"

	"fairlobe/pipeline/bag"
)

// rebag changes a file of a bundle and packs it again, so that every checksum and the description fit what was changed: rebag
// BUNDLE FILE PATTERN TEXT, or rebag BUNDLE FILE +TEXT to write the file anew, or rebag BUNDLE NAME to give it another name.
func rebag(ts *testscript.TestScript, _ bool, args []string) {
	b, err := bag.Open(ts.MkAbs(args[0]), bag.Limits{})
	ts.Check(err)
	files := map[string][]byte{}
	for _, name := range b.Names() {
		files[name], _ = b.File(name)
	}
	name := b.Name()
	switch len(args) {
	case 2:
		name = args[1]
	case 3:
		files[args[1]] = []byte(strings.TrimPrefix(args[2], "+"))
	case 4:
		pattern := regexp.MustCompile("(?m)" + args[2])
		if !pattern.Match(files[args[1]]) {
			ts.Fatalf("%s: nothing is like %s", args[1], args[2])
		}
		files[args[1]] = pattern.ReplaceAll(files[args[1]], []byte(args[3]))
	}
	if len(args) > 2 && args[1] != "datapackage.json" {
		files["datapackage.json"] = describedAgain(ts, files, args[1])
	}
	var payload []bag.File
	for _, member := range b.Names() {
		payload = append(payload, bag.File{Name: member, Data: files[member]})
	}
	info := slices.DeleteFunc(b.Fields(), func(f bag.Field) bool { return f.Label == bag.OxumLabel || f.Label == bag.IdentifierLabel })
	var out bytes.Buffer
	_, err = bag.Pack(&out, name, payload, info)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), out.Bytes(), 0o644))
}

func describedAgain(ts *testscript.TestScript, files map[string][]byte, changed string) []byte {
	var p map[string]any
	ts.Check(json.Unmarshal(files["datapackage.json"], &p))
	for _, one := range p["resources"].([]any) {
		res := one.(map[string]any)
		if res["path"] == changed {
			res["bytes"], res["hash"] = len(files[changed]), fmt.Sprintf("sha256:%x", sha256.Sum256(files[changed]))
		}
	}
	text, err := json.Marshal(p)
	ts.Check(err)
	return text
}

// unbag writes a file of a bundle: unbag BUNDLE FILE TO.
func unbag(ts *testscript.TestScript, _ bool, args []string) {
	b, err := bag.Open(ts.MkAbs(args[0]), bag.Limits{})
	ts.Check(err)
	data, ok := b.File(args[1])
	if !ok {
		ts.Fatalf("%s holds no %s", args[0], args[1])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[2]), data, 0o644))
}
