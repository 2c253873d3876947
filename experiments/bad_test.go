package experiments

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"fairlobe/pipeline/diag"
)

var update = flag.Bool("update", false, "write the expected texts of testdata anew")

// golden compares a text with a file, or writes the file with -update; read the change before committing it.
func golden(t *testing.T, name, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(name, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s:\n got:\n%s\nwant:\n%s", name, got, want)
	}
}

func badFiles(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("*.toml")
	if err != nil || len(files) < 40 {
		t.Fatalf("%d bad files, %v", len(files), err)
	}
	return files
}

// TestBadFiles holds the whole text that is told of each bad file, warnings included.
func TestBadFiles(t *testing.T) {
	t.Chdir("testdata/bad")
	for _, file := range badFiles(t) {
		e, list := Load(file)
		if e != nil || len(list.Faults()) == 0 {
			t.Errorf("%s: no fault was found", file)
		}
		golden(t, strings.TrimSuffix(file, ".toml")+".want", list.Error()+"\n")
		checkStyle(t, list)
	}
}

// checkStyle holds what every finding must be: placed, in lower case, without a full stop, with a mend.
func checkStyle(t *testing.T, list diag.List) {
	t.Helper()
	for _, d := range list {
		if d.Pos.Line < 1 || d.Pos.Column < 1 || d.Mend == "" || strings.HasSuffix(d.Msg, ".") ||
			strings.Contains(d.Msg, "failed to") || d.Msg[0] >= 'A' && d.Msg[0] <= 'Z' {
			t.Errorf("bad finding: %s", d)
		}
	}
}

// pasted finds the TOML line of a mend.
var pasted = regexp.MustCompile(`(?:^write |for example )([a-z0-9_]+ = .+?)(?:; for .*|, or .*)?$`)

// TestMendsWork pastes mends into the files they were made for, until the file is good. A mend of the key that stands in the
// line takes its place, any other goes below.
func TestMendsWork(t *testing.T) {
	t.Chdir("testdata/bad")
	for _, name := range []string{
		"syntax_decimal_comma", "syntax_bare_text", "unknown_near", "type_text_number", "type_local_time", "value_range",
		"value_offset_time", "value_mode", "value_cut_unknown", "unit_key", "relation_settle_dwell", "relation_few_slots",
		"relation_no_start", "relation_magnetic", "several_missing",
	} {
		text, err := os.ReadFile(name + ".toml")
		if err != nil {
			t.Fatal(err)
		}
		for round := 0; ; round++ {
			_, list := Parse(name+".toml", text, nil)
			if len(list.Faults()) == 0 {
				break
			}
			d := list.Faults()[0]
			m := pasted.FindStringSubmatch(d.Mend)
			if m == nil || round > 10 {
				t.Errorf("round %d: no mend to paste: %s", round, d)
				break
			}
			text = paste(text, d, m[1])
		}
	}
}

func paste(text []byte, d diag.Diag, line string) []byte {
	lines := strings.Split(string(text), "\n")
	at := d.Pos.Line - 1
	key, _, _ := strings.Cut(line, " ")
	if strings.HasPrefix(lines[at], key+" ") || strings.HasPrefix(d.Msg, "unknown key") || strings.Contains(d.Msg, "and this file keeps it") {
		lines[at] = line
	} else {
		lines[at] += "\n" + line
	}
	return []byte(strings.Join(lines, "\n"))
}
