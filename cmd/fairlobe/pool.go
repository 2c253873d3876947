package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fairlobe/pipeline"
	"fairlobe/pipeline/bag"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/manifest"
	"fairlobe/pipeline/store"
	"fairlobe/stages"
	"fairlobe/stages/pooling"
	"fairlobe/stages/report"
)

type poolOptions struct {
	out, frame string
	json       bool
	noColor    bool
}

// filePooled is the result of a pool for programs.
const filePooled = "pooled.json"

func poolCommand(std streams) *cobra.Command {
	var opt poolOptions
	cmd := &cobra.Command{
		Use:   "pool BUNDLE...",
		Short: "One verdict from the bundles of several operators",
		Long:  poolLong,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) == 0:
				return usage("pool wants bundles, none was given")
			case len(args) > pooling.MostStudies:
				return usage("pool takes at most %d bundles, %d were given", pooling.MostStudies, len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if opt.frame != "" && opt.frame != pooling.North && opt.frame != pooling.Wire {
				return usage("--frame is north or wire, not %q", opt.frame)
			}
			return runPool(cmd.Context(), args, opt, std)
		},
	}
	f := cmd.Flags()
	f.StringVar(&opt.out, "out", "pool.out", "`folder` of the outputs")
	f.BoolVar(&opt.json, "json", false, "print pooled.json on standard output, and nothing else there")
	f.StringVar(&opt.frame, "frame", "", "`frame` of the directions: north, or wire (default: that of the claims, or north)")
	f.BoolVar(&opt.noColor, "no-color", false, "no bold letters (so does the environment variable NO_COLOR)")
	return cmd
}

// poolFolder describes the output folder, which is told from that of a run.
func poolFolder() pipeline.Folder {
	return pipeline.Folder{Marker: ".fairlobe-pool", Text: "fairlobe pool folder, format 1\n", Manifest: "manifest.json"}
}

func runPool(ctx context.Context, paths []string, opt poolOptions, std streams) error {
	studies, sizes, err := readStudies(ctx, paths)
	if err != nil {
		return err
	}
	doc, err := pooling.Pool(studies, pooling.Options{Frame: opt.frame, Tool: "fairlobe " + version})
	if err != nil {
		return err
	}
	files, answers, err := poolFiles(doc, sizes, opt.frame)
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if _, err := pipeline.Publish(opt.out, files, poolFolder()); err != nil {
		return err
	}
	if opt.json {
		_, err := std.out.Write(files[0].Data)
		return err
	}
	if bold(std.out.out, opt.noColor) {
		answers = embolden(answers)
	}
	if _, err := std.out.Write(answers); err != nil {
		return err
	}
	fmt.Fprintf(std.out, "Written to %s: report.html, report.txt, %s, manifest.json\n", opt.out, filePooled)
	return nil
}

// readStudies reads all bundles, and tells the faults of all of them. sizes are the lengths of their manifests, by identity. The
// order of the paths does not matter.
func readStudies(ctx context.Context, paths []string) (studies []pooling.Study, sizes map[string]int64, err error) {
	var faults diag.List
	sizes = map[string]int64{}
	for _, path := range slices.Sorted(slices.Values(paths)) {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		study, size, err := readStudy(path)
		var list diag.List
		if errors.As(err, &list) {
			faults = append(faults, list...)
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		studies = append(studies, *study)
		sizes[study.Identity] = size
	}
	return studies, sizes, faults.Err()
}

// bagManifest is the file of a bundle whose SHA-256 is its identity.
const bagManifest = "manifest-sha256.txt"

// readStudy also gives the length of the bundle's manifest.
func readStudy(path string) (*pooling.Study, int64, error) {
	b, err := bag.Open(path, bag.Limits{})
	if err != nil {
		return nil, 0, err
	}
	size := 0
	for _, f := range b.Files() {
		if f.Name == bagManifest {
			size = len(f.Data)
		}
	}
	study, err := stages.StudyIn(b, filepath.ToSlash(path))
	return study, int64(size), err
}

// poolFiles makes the files of the output folder, the manifest last, and what a screen shows.
func poolFiles(doc *pooling.Document, sizes map[string]int64, frame string) (files []pipeline.File, answers []byte, err error) {
	command := poolAgain(frame)
	text, err := json.MarshalIndent(doc, "", "  ")
	if err != nil {
		return nil, nil, fmt.Errorf("writing %s: %w", filePooled, err)
	}
	page, err := report.PooledPage(doc, command)
	if err != nil {
		return nil, nil, fmt.Errorf("writing %s: %w", report.FilePage, err)
	}
	answers, whole := report.PooledText(doc, command)
	files = []pipeline.File{{Name: filePooled, Data: append(text, '\n')}, {Name: report.FileText, Data: whole}, {Name: report.FilePage, Data: page}}
	m := &manifest.Manifest{Format: 1, Tool: "fairlobe " + version, Go: runtime.Version(), Command: command}
	for _, s := range doc.Studies {
		m.Inputs = append(m.Inputs, manifest.File{Name: s.Label + "/" + bagManifest, Bytes: sizes[s.Identity], SHA256: strings.TrimPrefix(s.Identity, "sha256:")})
	}
	for _, f := range files {
		m.Outputs = append(m.Outputs, manifest.File{Name: f.Name, Bytes: int64(len(f.Data)), SHA256: store.Sum(f.Data)})
	}
	manifestText, err := m.Encode()
	if err != nil {
		return nil, nil, fmt.Errorf("writing the manifest: %w", err)
	}
	return append(files, pipeline.File{Name: "manifest.json", Data: manifestText}), answers, nil
}

// poolAgain is the command that makes the pool again. It names no files: what was pooled are the bundles whose identities stand beside it,
// wherever they lie.
func poolAgain(frame string) string {
	if frame != "" {
		return "fairlobe pool --frame " + frame + " BUNDLE..."
	}
	return "fairlobe pool BUNDLE..."
}
