package main

import (
	"errors"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var updateScripts = flag.Bool("update-scripts", false, "write what the command prints into the scripts")

// The test binary is the command: a script's `exec fairlobe` runs main.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"fairlobe": main})
}

// Each story of testdata/script runs the command as a user does, in a folder of its own.
func TestScripts(t *testing.T) {
	schema, err := filepath.Abs("../../datasets/verdicts.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		UpdateScripts:       *updateScripts,
		Setup: func(env *testscript.Env) error {
			env.Setenv("NO_COLOR", "")
			env.Setenv("VERDICTS_SCHEMA", schema)
			env.Setenv("POOLED_SCHEMA", filepath.Join(filepath.Dir(schema), "pooled.schema.json"))
			return nil
		},
		Condition: condition,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"change":      change,
			"dropcolumns": dropColumns,
			"follows":     follows,
			"keep":        keepTree,
			"madebundle":  madeBundleFile,
			"mirrored":    mirrored,
			"ownfolder":   ownFolder,
			"rebag":       rebag,
			"reordered":   reordered,
			"rows":        rows,
			"same":        sameTree,
			"shifted":     shifted,
			"smalldisk":   smallDisk,
			"status":      exitStatus,
			"timeless":    timeless,
			"unbag":       unbag,
			"waitfor":     waitFor,
			"weakly":      weakly,
		},
	})
}

// condition knows what a script may ask of the machine.
func condition(cond string) (bool, error) {
	switch cond {
	case "smalldisk":
		return canMount(), nil
	case "weakly":
		return os.Getuid() != 0 || hasSetpriv(), nil
	case "devfull":
		_, err := os.Stat("/dev/full")
		return err == nil, nil
	}
	return false, os.ErrInvalid
}

func hasSetpriv() bool {
	_, err := exec.LookPath("setpriv")
	return err == nil
}

// canMount tells whether a small file system can be made, which asks for root on Linux.
func canMount() bool {
	if os.Getuid() != 0 {
		return false
	}
	dir, err := os.MkdirTemp("", "mount")
	if err != nil {
		return false
	}
	defer os.Remove(dir)
	if exec.Command("mount", "-t", "tmpfs", "-o", "size=64k", "none", dir).Run() != nil {
		return false
	}
	return exec.Command("umount", dir).Run() == nil
}

// smallDisk mounts a file system with room for so much: smalldisk DIR 300k.
func smallDisk(ts *testscript.TestScript, _ bool, args []string) {
	dir := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(dir, 0o755))
	ts.Check(exec.Command("mount", "-t", "tmpfs", "-o", "size="+args[1], "none", dir).Run())
	ts.Defer(func() { ts.Check(exec.Command("umount", dir).Run()) })
}

// exitStatus runs a command that prints nothing on standard output, asks for its exit status, and keeps its standard
// error in got.txt: status 2 fairlobe bogus.
func exitStatus(ts *testscript.TestScript, _ bool, args []string) {
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != want {
		ts.Fatalf("%v: want status %d", err, want)
	}
	if out := ts.ReadFile("stdout"); out != "" {
		ts.Fatalf("standard output is not empty: %s", out)
	}
	ts.Check(os.WriteFile(ts.MkAbs("got.txt"), []byte(ts.ReadFile("stderr")), 0o644))
}

// weakly runs a command that may not write where permissions forbid it, also if the test runs as root. The command's
// standard error goes to the file that is named first: weakly stderr.txt fairlobe run x.toml.
func weakly(ts *testscript.TestScript, neg bool, args []string) {
	words := args[1:]
	if os.Getuid() == 0 {
		words = append([]string{"setpriv", "--bounding-set=-dac_override,-dac_read_search", "--"}, words...)
	}
	path, err := exec.LookPath(words[0])
	if words[0] == "fairlobe" {
		path, err = lookIn(ts.Getenv("PATH"), words[0])
	}
	ts.Check(err)
	var errOut strings.Builder
	cmd := exec.Command(path, words[1:]...)
	cmd.Dir, cmd.Stderr, cmd.Env = ts.MkAbs("."), &errOut, []string{"PATH=" + ts.Getenv("PATH"), "HOME=/no-home"}
	err = cmd.Run()
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(errOut.String()), 0o644))
	if (err != nil) != neg {
		ts.Fatalf("the command ended with %v: %s", err, errOut.String())
	}
}

func lookIn(path, name string) (string, error) {
	for _, dir := range filepath.SplitList(path) {
		if _, err := os.Stat(filepath.Join(dir, name)); err == nil {
			return filepath.Join(dir, name), nil
		}
	}
	return "", exec.ErrNotFound
}
