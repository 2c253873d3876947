package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"fairlobe/experiments"
	"fairlobe/experiments/looks"
	"fairlobe/experiments/repeat"
	"fairlobe/experiments/seal"
	"fairlobe/pipeline"
	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/bag"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/manifest"
	"fairlobe/pipeline/store"
	"fairlobe/stages"
	"fairlobe/stages/handover"
	"fairlobe/stages/judge"
)

type shareOptions struct {
	to, licence, key string
	designOnly       bool
	out, store       string
	jobs             jobs
}

func shareCommand(std streams) *cobra.Command {
	var opt shareOptions
	cmd := &cobra.Command{
		Use:   "share EXPERIMENT",
		Short: "A bundle for other operators, without what is private",
		Long:  shareLong,
		Args:  oneExperiment,
		RunE: func(cmd *cobra.Command, args []string) error {
			licence, err := licenceOf(opt.licence, cmd.Flags().Changed("licence"))
			if err != nil {
				return err
			}
			for _, name := range []string{"out", "store", "jobs"} {
				if opt.designOnly && cmd.Flags().Changed(name) {
					return usage("--design-only runs nothing, so --%s has no meaning with it", name)
				}
			}
			return runShare(cmd.Context(), args[0], opt, licence, std)
		},
	}
	f := cmd.Flags()
	f.StringVar(&opt.to, "to", "", "`file` of the bundle (default: NAME.zip beside NAME.toml)")
	f.BoolVar(&opt.designOnly, "design-only", false, "the experiment alone, before or without data")
	f.StringVar(&opt.licence, "licence", "", "SPDX `id` of the licence that you give, such as CC-BY-4.0; none is assumed")
	f.StringVar(&opt.key, "key", "", "`file` of your secret key (default: share.key in your configuration folder)")
	f.StringVar(&opt.out, "out", "", "`folder` of the outputs of run, whose store is used (default: NAME.out)")
	f.StringVar(&opt.store, "store", "", "`folder` of what earlier runs computed (default: inside the outputs)")
	f.Var(&opt.jobs, "jobs", "how many stages run at a time, at most 1024 (default: one for each processor)")
	return cmd
}

func licenceOf(id string, given bool) (*handover.Licence, error) {
	if !given {
		return nil, nil
	}
	l, err := handover.LicenceOf(id)
	if err != nil {
		return nil, usage("--licence: %v", err)
	}
	return &l, nil
}

// sharing is one bundle in the making.
type sharing struct {
	*opened
	opt     shareOptions
	licence *handover.Licence
	name    string // of the bundle
	target  string
	key     shareKey
	handed  *stages.Handed
	files   []handover.File
	// Counts for the screen.
	spots, sweeps []string
	log           string
	look          look
	line          *looks.Look // that this run adds to the ledger
	origin        *repeat.Origin
}

func runShare(ctx context.Context, path string, opt shareOptions, licence *handover.Licence, std streams) error {
	o, err := open(path)
	if err != nil {
		return err
	}
	if err := o.needSeed(); err != nil {
		return err
	}
	s := &sharing{opened: o, opt: opt, licence: licence, name: bundleName(o.exp.Name), target: opt.to}
	if s.target == "" {
		s.target = filepath.Join(o.exp.Dir, s.name+".zip")
	}
	if s.key, err = findKey(opt.key); err != nil {
		return err
	}
	if err := s.mayReplace(); err != nil {
		return err
	}
	if err := s.sealedOrder(); err != nil {
		return err
	}
	for _, d := range slices.Concat(o.sealNotes(), o.placeholders(), s.invented()) {
		fmt.Fprintln(std.err, d)
	}
	if err := s.gather(ctx, std); err != nil {
		return err
	}
	defer s.handed.Release()
	bundle, identity, err := s.pack()
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := s.write(bundle); err != nil {
		return err
	}
	s.tell(std, len(bundle), identity)
	return nil
}

// sealedOrder refuses a design that nobody could receive: a trial with the order of its arms changed since the seal says so beside its
// verdicts, and a design alone has nothing that says it.
func (s *sharing) sealedOrder() error {
	if !s.opt.designOnly || s.standing.State != judge.SealOrder {
		return nil
	}
	return diag.List{{Pos: s.exp.Pos("seed"), Msg: "the seal holds another order of the arms than the experiment has now; nothing was written",
		Mend: "put seed, arms and schedule back as they were sealed; or move the seal away, and the design goes without it", Related: []diag.Pos{{File: sealPath(s.exp)}}}}
}

// invented warns where the data are those of a rehearsal: a bundle looks the same, and pool would count it.
func (s *sharing) invented() diag.List {
	mark := rehearsalFolder()
	text, err := os.ReadFile(filepath.Join(s.exp.Dir, mark.Marker))
	if err != nil || string(text) != mark.Text || s.opt.designOnly {
		return nil
	}
	return diag.List{{Pos: diag.Pos{File: s.exp.File}, Severity: diag.Warning, Code: "rehearsal",
		Msg:  "this is a rehearsal: its data are invented, and pool would count them as any other",
		Mend: "share the experiment itself, once it is carried out; else leave in the title that it is a rehearsal"}}
}

var notInNames = regexp.MustCompile(`[^A-Za-z0-9._-]+`)

// bundleName makes of an experiment's name one that a bundle's folder can have.
func bundleName(name string) string {
	if bag.CheckName(name) == nil {
		return name
	}
	name = strings.Trim(notInNames.ReplaceAllString(name, "-"), ".-_")
	name = strings.TrimRight(name[:min(len(name), 60)], ".-_")
	if bag.CheckName(name) != nil {
		return "experiment"
	}
	return name
}

// mayReplace refuses a target that is something else than an earlier bundle of the same experiment and operator.
func (s *sharing) mayReplace() error {
	refuse := func(what string) error {
		return diag.List{{Pos: diag.Pos{File: s.target}, Msg: what + "; nothing was written", Mend: "move it away, or name another file with --to"}}
	}
	info, err := os.Stat(s.target)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return diag.List{{Pos: diag.Pos{File: s.target}, Msg: fmt.Sprintf("the bundle can't be written there: %v", cause(err)),
			Mend: "name a file in a folder that is there, with --to"}}
	case info.IsDir():
		return refuse("this is a folder, and the bundle is a file")
	case !info.Mode().IsRegular():
		return refuse("this is no plain file")
	}
	b, err := bag.Open(s.target, bag.Limits{})
	if err != nil {
		return refuse("a file stands here that is no bundle of fairlobe")
	}
	if b.Name() != s.name || b.Info(stages.OperatorLabel) != s.key.Operator() || !s.sameSeed(b) {
		return refuse("a bundle of another experiment or operator stands here")
	}
	return nil
}

// sameSeed tells whether a bundle's experiment draws from the seed of this one: a name may come twice.
func (s *sharing) sameSeed(b *bag.Bag) bool {
	text, ok := b.File(handover.FileExperiment)
	if !ok {
		return false
	}
	there, _ := experiments.Parse(handover.FileExperiment, text, func(name string) ([]byte, error) {
		data, _ := b.File(name)
		return data, nil
	})
	return there != nil && there.HasSeed == s.exp.HasSeed && there.Seed == s.exp.Seed
}

// gather makes all files of the payload.
func (s *sharing) gather(ctx context.Context, std streams) error {
	var err error
	if s.opt.designOnly {
		s.handed, err = stages.Design(s.exp, s.planned, s.standing)
	} else {
		err = s.gatherRun(ctx, std)
	}
	if err != nil {
		return err
	}
	s.files = append(s.files, s.handed.Files...)
	if err := s.addSeal(); err != nil {
		return err
	}
	if err := s.addOrigin(); err != nil {
		return err
	}
	about := handover.About{Name: s.name, Title: s.exp.Title, Description: s.exp.Question, Created: s.handed.Created, Licence: s.licence}
	text, err := s.handed.DataPackage(about, s.files)
	if err != nil {
		return err
	}
	s.add(handover.FilePackage, text)
	return nil
}

func (s *sharing) add(name string, data []byte) {
	s.files = append(s.files, handover.File{Name: name, Data: data})
}

// gatherRun runs the trial, hands it over, and adds what stands beside the experiment file.
func (s *sharing) gatherRun(ctx context.Context, std streams) error {
	done, err := s.runTrial(ctx, std)
	if err != nil {
		return err
	}
	home := stages.Home{Experiment: s.exp, Planned: s.planned, Seal: s.standing, Looks: s.look.n,
		Name: s.name, Tool: "fairlobe " + version, Done: done, Jobs: int(s.opt.jobs)}
	if s.handed, err = home.HandOver(ctx, s.key.Key); err != nil {
		return err
	}
	if err := s.addLooks(done); err != nil {
		return err
	}
	if err := s.addLog(); err != nil {
		return err
	}
	return s.addManifest(done, home.InputNames())
}

// runTrial brings the trial up to date, with the store of earlier runs if there is one.
func (s *sharing) runTrial(ctx context.Context, std streams) (*pipeline.Outcome, error) {
	dir := s.opt.out
	if dir == "" {
		dir = filepath.Join(s.exp.Dir, s.exp.Name+".out")
	}
	opt := pipeline.Options{Jobs: int(s.opt.jobs), Salt: salt()}
	keep := s.opt.store
	if keep == "" && folder().Made(dir) {
		keep = filepath.Join(dir, "store")
	}
	if keep != "" {
		st, err := store.Open(keep)
		if err != nil {
			return nil, err
		}
		opt.Store = st
	}
	bar := newProgress(std.err)
	defer bar.clear()
	opt.Progress = bar.show
	data, err := stages.Find(s.exp)
	if err != nil {
		return nil, err
	}
	s.spots, s.sweeps, s.log = data.Files()
	done, l, err := s.compute(ctx, dir, opt)
	if err != nil {
		return nil, err
	}
	s.look = l
	s.line, err = s.lookOf(done, l)
	return done, err
}

// digests gives those of the experiment at home and in the form that leaves the house.
func (s *sharing) digests() (home, away string, err error) {
	canonical, err := s.exp.Canonical()
	if err != nil {
		return "", "", fmt.Errorf("writing the experiment in its canonical form: %w", err)
	}
	private, err := experiments.PrivateContent(canonical)
	if err != nil {
		return "", "", err
	}
	return "sha256:" + store.Sum(canonical), "sha256:" + store.Sum(private), nil
}

func (s *sharing) addLooks(done *pipeline.Outcome) error {
	home, away, err := s.digests()
	if err != nil {
		return err
	}
	all := s.look.all
	if s.line != nil {
		all = append(all[:len(all):len(all)], *s.line)
	}
	text, err := looks.Private(all, home, away)
	if err != nil {
		return err
	}
	s.add(handover.FileLooks, text)
	return nil
}

func (s *sharing) addLog() error {
	if s.log == "" {
		s.add(handover.FileSwitches, handover.EmptyLog())
		return nil
	}
	text, err := os.ReadFile(filepath.Join(s.exp.DataDir, filepath.FromSlash(s.log)))
	if err != nil {
		return fmt.Errorf("reading the switch log: %w", err)
	}
	if text, err = handover.HideLog(text, s.handed.Hidden); err != nil {
		return err
	}
	s.add(handover.FileSwitches, text)
	return nil
}

// addManifest describes the run: inputs by numbers and digests, no stage keys, nothing of the machine.
func (s *sharing) addManifest(done *pipeline.Outcome, names map[string]string) error {
	m := &manifest.Manifest{Tool: "fairlobe " + version, Command: "fairlobe receive --verify " + s.name + ".zip"}
	if s.exp.HasSeed {
		m.Seed = &s.exp.Seed
	}
	for _, in := range done.Inputs {
		m.Inputs = append(m.Inputs, manifest.File{Name: names[in.Name], Bytes: in.Bytes, SHA256: in.SHA256})
	}
	for _, f := range s.handed.Files {
		if f.Name == handover.FileVerdicts || f.Name == handover.FilePage || strings.HasPrefix(f.Name, "tables/") {
			m.Outputs = append(m.Outputs, manifest.File{Name: f.Name, Bytes: int64(len(f.Data)), SHA256: store.Sum(f.Data)})
		}
	}
	text, err := m.Encode()
	if err != nil {
		return err
	}
	s.add(handover.FileManifest, text)
	return nil
}

func (s *sharing) addSeal() error {
	if s.seal == nil {
		return nil
	}
	content, err := experiments.PrivateContent(s.seal.Content)
	if err != nil {
		return err
	}
	own := *s.seal
	own.Name = s.name // that of the day of the seal may have been another
	shared, err := seal.Share(own, content)
	if err != nil {
		return err
	}
	text, err := shared.Encode()
	if err != nil {
		return err
	}
	s.add(handover.FileSeal, text)
	return nil
}

// addOrigin adds what the experiment repeats, if it repeats one; in what it differs is told as of today.
func (s *sharing) addOrigin() error {
	origin, err := s.readOrigin()
	if origin == nil || err != nil {
		return err
	}
	if origin, err = origin.Renewed(s.handed.Experiment.Decisive()); err != nil {
		return err
	}
	text, err := origin.Encode()
	if err != nil {
		return err
	}
	s.origin = origin
	s.add(handover.FileOrigin, text)
	return nil
}

// pack makes the bundle, after a search for everything that must not be in it.
func (s *sharing) pack() (bundle []byte, identity string, err error) {
	licence := handover.NoLicence
	if s.licence != nil {
		licence = s.licence.ID
	}
	info := []bag.Field{
		{Label: "Bag-Software-Agent", Value: "fairlobe " + version}, {Label: "Bagging-Date", Value: s.handed.Created.UTC().Format(time.DateOnly)},
		{Label: "External-Description", Value: s.exp.Title}, {Label: stages.OperatorLabel, Value: s.key.Operator()}, {Label: stages.LicenceLabel, Value: licence},
	}
	about := "name: " + s.name + "\n"
	for _, f := range info {
		about += f.Label + ": " + f.Value + "\n"
	}
	words := stages.PrivateWords(s.exp, s.handed.Hidden, append(append([]string{s.log}, s.spots...), s.sweeps...), s.places())
	all := append(s.files[:len(s.files):len(s.files)], handover.File{Name: "bag-info.txt", Data: []byte(about)})
	if err := stages.CheckPrivate(s.exp, all, words); err != nil {
		return nil, "", err
	}
	payload := make([]bag.File, len(s.files))
	for i, f := range s.files {
		payload[i] = bag.File(f)
	}
	var out bytes.Buffer
	identity, err = bag.Pack(&out, s.name, payload, info)
	return out.Bytes(), identity, err
}

// places are the folders whose paths must not leave the house.
func (s *sharing) places() []string {
	var out []string
	for _, dir := range []string{s.exp.Dir, s.exp.DataDir} {
		if abs, err := filepath.Abs(dir); err == nil {
			out = append(out, abs)
		}
	}
	if home, err := os.UserHomeDir(); err == nil {
		out = append(out, home)
	}
	return out
}

// write puts the key, the line of the ledger and the bundle onto the disk. The bundle is there but for its name before the look is
// counted, and gets it after: a look that nobody counts must not be had, and one that shows nothing is none.
func (s *sharing) write(bundle []byte) error {
	file, err := atomicfile.Create(s.target)
	if err != nil {
		return s.cantWrite(err)
	}
	defer file.Cleanup()
	if _, err := file.Write(bundle); err != nil {
		return s.cantWrite(err)
	}
	if err := s.key.keep(); err != nil {
		return err
	}
	if s.line != nil {
		if err := looks.Append(looksPath(s.exp), s.look.all, *s.line); err != nil {
			return err
		}
	}
	if err := file.Commit(); err != nil {
		return s.cantWrite(err)
	}
	return nil
}

func (s *sharing) cantWrite(err error) error {
	msg := ""
	switch {
	case errors.Is(err, fs.ErrNotExist):
		msg = "the folder of the bundle is not there"
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		msg = "the folder of the bundle takes no files"
	default:
		return fmt.Errorf("writing the bundle: %w", err)
	}
	return diag.List{{Pos: diag.Pos{File: s.target}, Msg: msg + "; nothing was written", Mend: "name another file with --to"}}
}
