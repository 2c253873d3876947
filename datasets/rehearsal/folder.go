package rehearsal

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"time"

	"fairlobe/datasets/world"
	"fairlobe/experiments"
	"fairlobe/experiments/seal"
	"fairlobe/pipeline/diag"
	"fairlobe/stages/schedule"
)

// DataFolder is where the data stand in the folder of a rehearsal.
const DataFolder = "data"

// TruthFile is the file of that folder that says the truth in words.
const TruthFile = "truth.txt"

// sealedBefore is how long before the first dwell the rehearsed experiment is sealed.
const sealedBefore = 48 * time.Hour

// Folder gives the files of a folder in which the rehearsed experiment can be run: the experiment file, whose data are the
// rehearsed ones, with the files that it reads beside itself; the data; the truth in words, with the command that made
// it; and a seal made before the first dwell, if the experiment draws its own schedule.
func (r *Rehearsal) Folder(planned []schedule.Dwell, o Options, command string) ([]File, error) {
	e := r.scene.exp
	text, err := r.experiment()
	if err != nil {
		return nil, err
	}
	out := []File{{e.Name + ".toml", text}, {TruthFile, r.truthText(o, command)}}
	for _, name := range []string{e.Station.File, e.Schedule.File} {
		if name == "" {
			continue
		}
		data, err := os.ReadFile(filepath.Join(e.Dir, filepath.FromSlash(name)))
		if err != nil {
			return nil, fmt.Errorf("copying %s: %w", name, err)
		}
		out = append(out, File{filepath.ToSlash(filepath.Clean(name)), data})
	}
	if e.Schedule.File == "" {
		sealed, err := sealOf(e, planned)
		if err != nil {
			return nil, err
		}
		out = append(out, File{e.Name + seal.Suffix, sealed})
	}
	for _, f := range r.Files {
		out = append(out, File{DataFolder + "/" + f.Name, f.Data})
	}
	return out, nil
}

// experiment gives the text of the experiment file with its data in DataFolder, its seed, and a title that says what it is.
func (r *Rehearsal) experiment() ([]byte, error) {
	e := r.scene.exp
	text, err := os.ReadFile(e.File)
	if err != nil {
		return nil, fmt.Errorf("copying the experiment file: %w", err)
	}
	keys := [][2]string{{"data", strconv.Quote(DataFolder)}}
	if e.HasSeed {
		keys = append(keys, [2]string{"seed", strconv.FormatUint(e.Seed, 10)})
	}
	text = withKeys(titled(text, e), e, keys)
	again, list := experiments.Parse(e.File, text, func(name string) ([]byte, error) {
		return os.ReadFile(filepath.Join(e.Dir, filepath.FromSlash(name)))
	})
	if again == nil || list.Err() != nil || !sameDecisions(e, again) {
		return nil, diag.List{{Pos: e.Pos("data"), Msg: "data can't be set to another folder in a copy of this file", Mend: `write data = "..." on one line of its own, above the first table`}}
	}
	return text, nil
}

// sameDecisions tells whether two experiments are the same but for where their data are.
func sameDecisions(a, b *experiments.Experiment) bool {
	one, err := a.Canonical()
	two, alsoErr := b.Canonical()
	return err == nil && alsoErr == nil && bytes.Equal(one, two)
}

// withKeys sets keys above the first table. New ones stand behind the smallest difference, which every file has.
func withKeys(text []byte, e *experiments.Experiment, keys [][2]string) []byte {
	lines := bytes.SplitAfter(text, []byte("\n"))
	behind := e.Pos("smallest_difference_db").Line - 1
	for _, key := range keys {
		line := key[0] + " = " + key[1]
		at := e.Pos(key[0]).Line - 1
		if is := regexp.MustCompile(`^\s*["']?` + key[0] + `["']?\s*=`); at < len(lines) && is.Match(lines[at]) {
			lines[at] = ended(line, lines[at])
		} else {
			lines[behind] = append(lines[behind], ended(line, lines[behind])...)
		}
	}
	return bytes.Join(lines, nil)
}

// titleStart is a title up to the first character in its quotation marks; one of several lines is left alone.
var titleStart = regexp.MustCompile(`^\s*["']?title["']?\s*=\s*["']([^"'])`)

// titled lets the title say what this is, for the page of a rehearsal looks like that of a trial.
func titled(text []byte, e *experiments.Experiment) []byte {
	lines := bytes.SplitAfter(text, []byte("\n"))
	at := e.Pos("title").Line - 1
	if found := titleStart.FindSubmatchIndex(lines[at]); found != nil {
		lines[at] = slices.Concat(lines[at][:found[2]], []byte("Rehearsal: "), lines[at][found[2]:])
	}
	return bytes.Join(lines, nil)
}

// ended ends a line as another one ends.
func ended(line string, like []byte) []byte {
	return append([]byte(line), like[len(bytes.TrimRight(like, "\r\n")):]...)
}

func sealOf(e *experiments.Experiment, planned []schedule.Dwell) ([]byte, error) {
	canonical, err := e.Canonical()
	if err != nil {
		return nil, fmt.Errorf("writing the experiment in its canonical form: %w", err)
	}
	s, err := seal.Make(canonical, planned, e.Seed, planned[0].Start.Add(-sealedBefore))
	if err != nil {
		return nil, err
	}
	s.Name = e.Name
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(s); err != nil {
		return nil, fmt.Errorf("writing the seal: %w", err)
	}
	return out.Bytes(), nil
}

// truthText says in words what is true.
func (r *Rehearsal) truthText(o Options, command string) []byte {
	var out bytes.Buffer
	e := r.scene.exp
	fmt.Fprintf(&out, "What is true in this rehearsal of %s\n\nEverything is invented: stations, reports, sweeps, log. Made by\n\n    %s\n\n", e.Name, command)
	section := func(title string, lines []string) {
		if len(lines) == 0 {
			return
		}
		fmt.Fprintf(&out, "%s\n", title)
		for _, l := range lines {
			fmt.Fprintf(&out, "    %s\n", l)
		}
		out.WriteString("\n")
	}
	section("The arms", append(r.truth.Words(), r.Notes...))
	section("The highest SWR at the feedpoint within the band", r.matchWords())
	section("The world", r.worldWords(o))
	section("What went otherwise than planned", r.Happened)
	return out.Bytes()
}

func (r *Rehearsal) matchWords() []string {
	var out []string
	for n, b := range r.truth.bands {
		for _, arm := range r.armsSwept() {
			out = append(out, fmt.Sprintf("%s: %s %.2f", b, arm, r.scene.resonances(arm)[n].highest()))
		}
	}
	return out
}

// armsSwept are the arms that a sweep is written of.
func (r *Rehearsal) armsSwept() []string {
	swept := map[string]bool{}
	for _, s := range r.scene.exp.Sweeps {
		swept[s.Arm] = true
	}
	var out []string
	for _, arm := range r.truth.arms {
		if swept[arm] {
			out = append(out, arm)
		}
	}
	return out
}

func (r *Rehearsal) worldWords(o Options) []string {
	name := o.Scenario
	if name == "" {
		name = UsualScenario
	}
	preset, _ := world.Scenario(name)
	near, far := distances(r.scene.trial.Bands)
	return []string{
		fmt.Sprintf("scenario %s: %s", name, preset.What),
		fmt.Sprintf("stations: %d, from %.0f to %.0f km", len(r.scene.out.Stations), near, far),
		fmt.Sprintf("seed: %d", o.Seed),
	}
}
