package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fairlobe/experiments/repeat"
	"fairlobe/pipeline/bag"
	"fairlobe/pipeline/diag"
	"fairlobe/stages"
	"fairlobe/stages/handover"
	"fairlobe/stages/judge"
)

type receiveOptions struct {
	verify  bool
	station string
	start   string
	seed    int64
	jobs    jobs
}

// noSeed stands for a seed that was not given.
const noSeed = -1

func receiveCommand(std streams) *cobra.Command {
	var opt receiveOptions
	cmd := &cobra.Command{
		Use:   "receive BUNDLE [DIR]",
		Short: "What somebody shared: checked, unpacked, ready to be repeated",
		Long:  receiveLong,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) == 0 || len(args) > 2:
				return usage("receive wants one bundle, and a folder if you like; %d were given", len(args))
			case opt.verify && len(args) == 2:
				return usage("receive --verify unpacks nothing, so it takes no folder")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			changed := cmd.Flags().Changed
			if opt.verify {
				if changed("station") || changed("start") || changed("seed") {
					return usage("--station, --start and --seed are for a repeat, and receive --verify makes none")
				}
				return verifyBundle(cmd.Context(), args[0], int(opt.jobs), std)
			}
			if changed("jobs") {
				return usage("--jobs is for receive --verify")
			}
			if changed("seed") && opt.seed < 0 {
				return usage("--seed wants a whole number, 0 to %d", int64(math.MaxInt64))
			}
			dir := ""
			if len(args) == 2 {
				dir = args[1]
			}
			return receive(cmd.Context(), args[0], dir, opt, std)
		},
	}
	f := cmd.Flags()
	f.BoolVar(&opt.verify, "verify", false, "unpack nothing; run the analysis again and compare every byte")
	f.StringVar(&opt.station, "station", "", "your station's `file`, to be copied (default: one to fill in)")
	f.StringVar(&opt.start, "start", "", "`time` of the first slot, such as 2027-05-01T06:00:00Z (default: tomorrow, at the original's hour)")
	f.Int64Var(&opt.seed, "seed", noSeed, "`number` from which your order is drawn (default: drawn from the system)")
	f.Var(&opt.jobs, "jobs", "with --verify: how many stages run at a time, at most 1024 (default: one for each processor)")
	return cmd
}

// stationFile is the name of the operator's station beside the repeat's experiment file.
const stationFile = "my-station.toml"

// receivedDir is the folder of the bundle as it came.
const receivedDir = "received"

// bundle is one that was opened, with all in it checked.
type bundle struct {
	*bag.Bag
	*stages.Received
	path string
}

func openBundle(path string) (*bundle, error) {
	b, err := bag.Open(path, bag.Limits{})
	if err != nil {
		return nil, err
	}
	r, err := stages.ReceivedIn(b.Names(), b.File)
	if err != nil {
		return nil, inBundle(path, err)
	}
	return &bundle{b, r, path}, nil
}

// inBundle puts the bundle's path before the names of its files in findings.
func inBundle(path string, err error) error {
	var list diag.List
	if !errors.As(err, &list) {
		return err
	}
	out := make(diag.List, len(list))
	for i, d := range list {
		d.Pos.File = path + ": " + d.Pos.File
		related := make([]diag.Pos, len(d.Related))
		for k, p := range d.Related {
			p.File = path + ": " + p.File
			related[k] = p
		}
		d.Related = related
		out[i] = d
	}
	return out
}

func receive(ctx context.Context, path, dir string, opt receiveOptions, std streams) error {
	b, err := openBundle(path)
	if err != nil {
		return err
	}
	defer b.Release()
	if dir == "" {
		dir = b.Name()
	}
	plan, err := b.plan(opt)
	if err != nil {
		return err
	}
	made, err := plan.Prepare()
	if err != nil {
		return atStation(err, opt.station)
	}
	files, err := b.files(plan, made)
	if err != nil {
		return err
	}
	if err := bag.WriteFolder(ctx, dir, files); err != nil {
		return err
	}
	return b.tell(dir, plan, made, opt, std)
}

// plan gathers what the repeat is made of.
func (b *bundle) plan(opt receiveOptions) (repeat.Plan, error) {
	p := repeat.Plan{Name: repeatName(b.Name()), Original: b.Experiment, Dwells: b.Planned, Identity: b.Identity(), StationFile: stationFile,
		Station: repeat.StationTemplate(placeholderCall, placeholderLocator), Seed: uint64(opt.seed)}
	var err error
	if opt.seed == noSeed {
		if p.Seed, err = systemSeed(); err != nil {
			return p, err
		}
	}
	if p.Start, err = firstSlot(opt.start, b.Planned[0].Start); err != nil {
		return p, err
	}
	if opt.station == "" {
		return p, nil
	}
	if p.Station, err = readSmall(opt.station, maxStation); err != nil {
		return p, diag.List{{Pos: diag.Pos{File: opt.station}, Msg: "the station's file can't be read: " + cause(err).Error(),
			Mend: "name a file with call, locator and ground, or leave --station away and fill in the one that is written"}}
	}
	return p, nil
}

// firstSlot is the stated start of the first session, or the original's hour tomorrow.
func firstSlot(stated string, original time.Time) (time.Time, error) {
	if stated == "" {
		return repeat.NextDay(original, time.Now()), nil
	}
	at, err := time.Parse(time.RFC3339, stated)
	if err != nil || at.UTC().Year() < 1970 || at.UTC().Year() > 2199 {
		return at, usage("--start %s is no time: write it like 2027-05-01T06:00:00Z", stated)
	}
	return at.UTC(), nil
}

// repeatName is the name of the repeat: the bundle's, unless a file of that name would stand in the way of one of ours.
func repeatName(name string) string {
	if strings.EqualFold(name, receivedDir) || strings.EqualFold(name+".toml", stationFile) {
		return name + "-repeat"
	}
	return name
}

// maxStation is the limit of a station's file, which is read as an experiment file is.
const maxStation = 1 << 20

// readSmall reads a file of a limited size, and one byte more, so that the reader of the text can tell.
func readSmall(path string, limit int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, limit+1))
}

// atStation gives findings in the station's file the name that the user gave.
func atStation(err error, path string) error {
	var list diag.List
	if !errors.As(err, &list) || path == "" {
		return err
	}
	out := make(diag.List, len(list))
	for i, d := range list {
		if filepath.Base(d.Pos.File) == stationFile {
			d.Pos.File = path
		}
		out[i] = d
	}
	return out
}

// files are those of the folder that is to be made.
func (b *bundle) files(plan repeat.Plan, made *repeat.Made) ([]bag.File, error) {
	origin, err := made.Origin.Encode()
	if err != nil {
		return nil, err
	}
	out := []bag.File{
		{Name: plan.Name + ".toml", Data: made.Text},
		{Name: plan.Name + repeat.Suffix, Data: origin},
		{Name: stationFile, Data: plan.Station},
		{Name: plan.Name + "/spots/"},
		{Name: plan.Name + "/sweeps/"},
		{Name: plan.Name + "/log/switches.csv", Data: []byte(emptyLog)},
	}
	for _, f := range b.Files() {
		out = append(out, bag.File{Name: receivedDir + "/" + f.Name, Data: f.Data})
	}
	return out, nil
}

// tell says what was received, what was written, and what comes next.
func (b *bundle) tell(dir string, plan repeat.Plan, made *repeat.Made, opt receiveOptions, std streams) error {
	file := filepath.Join(dir, plan.Name+".toml")
	b.describe(std.out)
	fmt.Fprintf(std.out, "\nWrote %s%c:\n", dir, filepath.Separator)
	rows := [][2]string{
		{plan.Name + ".toml", "your repeat: look at what is marked with <--"},
		{stationFile, "your call, locator and ground: fill them in"},
		{plan.Name + repeat.Suffix, "where it comes from"},
		{plan.Name + "/", "for your spots, sweeps and log"},
		{receivedDir + "/", "what you received, as it came"},
	}
	if opt.station != "" {
		rows[1][1] = "a copy of " + opt.station
	}
	for _, row := range rows {
		fmt.Fprintf(std.out, "  %-24s %s\n", row[0], row[1])
	}
	say(std.out, "", "", fmt.Sprintf("The first session is proposed for %s; your order is drawn from seed %d.",
		plan.Start.Format("2006-01-02 15:04Z"), plan.Seed))
	if len(made.Notes) > 0 {
		fmt.Fprintln(std.out, "\nTo be thought of:")
		for _, note := range made.Notes {
			say(std.out, "  - ", "    ", note)
		}
	}
	c, err := made.Origin.Against(made.Experiment)
	if err != nil {
		return err
	}
	fmt.Fprintln(std.out)
	describeRepeat(std.out, made.Origin, c, made.Experiment.Station.Locator == placeholderLocator)
	say(std.out, "", "", "Write down what you really put up: whatever then differs makes it a varied repeat, and fairlobe check lists it.")
	fmt.Fprintln(std.out)
	say(std.out, "", "", "Before you put it up: local codes and licensed practice come first, whatever the original did.")
	for _, caution := range stages.Cautions(b.Experiment) {
		say(std.out, "  - ", "    ", caution)
	}
	fmt.Fprint(std.out, "\nNext: fill in what is marked with <--, then\n\n")
	fmt.Fprintf(std.out, "    fairlobe check %s\n    fairlobe design %s\n    fairlobe design --seal %s\n", shellWord(file), shellWord(file), shellWord(file))
	return nil
}

// describe tells of the bundle.
func (b *bundle) describe(w io.Writer) {
	what := "experiment, data and verdicts"
	if b.Given == nil {
		what = "an experiment without data"
	}
	fmt.Fprintf(w, "%s holds %s, whole and of one piece.\n", b.path, what)
	fmt.Fprintf(w, "  %s\n  %s\n", b.Experiment.Title, b.Identity())
	switch {
	case b.Seal == nil:
		fmt.Fprintln(w, "  Not sealed: nothing shows that it was not thought of after the data.")
	case b.SealState != judge.SealSame:
		fmt.Fprintf(w, "  Sealed at %s, and changed since.\n", b.Seal.SealedAt.Format("2006-01-02 15:04Z"))
	case b.SealedBeforeFirstDwell():
		fmt.Fprintf(w, "  Sealed at %s, before its first dwell, by its own date.\n", b.Seal.SealedAt.Format("2006-01-02 15:04Z"))
	default:
		fmt.Fprintf(w, "  Sealed at %s, after its first dwell had begun.\n", b.Seal.SealedAt.Format("2006-01-02 15:04Z"))
	}
	if b.Origin != nil {
		fmt.Fprintf(w, "  Itself a %s repeat of %q.\n", b.Origin.Kind, b.Origin.Title)
	}
	switch licence := b.Info(stages.LicenceLabel); licence {
	case "", handover.NoLicence:
		fmt.Fprintln(w, "  No licence is named: ask the sender before you pass it on.")
	default:
		fmt.Fprintf(w, "  Licence: %s\n", licence)
	}
}

// describeRepeat tells in what a repeat differs from its original.
func describeRepeat(w io.Writer, o *repeat.Origin, c repeat.Comparison, nowhere bool) {
	if c.Kind() == repeat.Direct {
		say(w, "", "", fmt.Sprintf("A direct repeat of %q: nothing that the file declares differs but place, days and length.", o.Title))
	} else {
		say(w, "", "", fmt.Sprintf("A varied repeat of %q:", o.Title))
	}
	for _, line := range c.Lines() {
		say(w, "  - ", "    ", line)
	}
	if len(c.Question) > 0 {
		say(w, "", "", "Claims or the smallest difference are other ones: it is no longer the same question, "+
			"and fairlobe pool will not add it to the original.")
	}
	var beside []string
	if !nowhere {
		beside = append(beside, c.Place...)
	}
	beside = append(append(beside, c.Length...), c.Words...)
	if len(beside) > 0 {
		fmt.Fprintln(w, "Told, and not counted as a difference:")
	}
	for _, line := range beside {
		say(w, "  - ", "    ", line)
	}
}

// readOrigin reads what stands beside an experiment file that is a repeat; nil if it is none.
func (o *opened) readOrigin() (*repeat.Origin, error) {
	path := filepath.Join(o.exp.Dir, o.exp.Name+repeat.Suffix)
	text, err := readSmall(path, repeat.MaxBytes)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading where the experiment comes from: %w", err)
	}
	return repeat.Parse(path, text)
}
