package pipeline

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"fairlobe/pipeline/table"
)

// Graph is a set of stages that fit together, in an order in which they can run.
type Graph struct {
	stages []Stage
	maker  map[string]int // output name -> index into stages
}

var stageName = regexp.MustCompile(`^[a-z][a-z0-9_-]{0,63}$`)

// NewGraph checks that names are unique and sound, that every need is made by a stage, that parameters
// can be part of a key, and that no stage waits for itself. The order of the graph is that of the
// arguments, except that a stage comes after what it needs.
func NewGraph(stages ...Stage) (*Graph, error) {
	g := &Graph{maker: map[string]int{}}
	if err := g.checkStages(stages); err != nil {
		return nil, fmt.Errorf("building the graph: %w", err)
	}
	if err := checkSources(stages); err != nil {
		return nil, fmt.Errorf("building the graph: %w", err)
	}
	order, err := order(stages, g.maker)
	if err != nil {
		return nil, fmt.Errorf("building the graph: %w", err)
	}
	for i, old := range order {
		g.stages = append(g.stages, stages[old])
		for _, o := range stages[old].Makes {
			g.maker[o.Name] = i
		}
	}
	return g, nil
}

// checkStages also fills maker with indexes into stages.
func (g *Graph) checkStages(stages []Stage) error {
	seen := map[string]bool{}
	for i, s := range stages {
		if seen[s.Name] {
			return fmt.Errorf("two stages are named %q", s.Name)
		}
		seen[s.Name] = true
		if err := checkStage(s); err != nil {
			return fmt.Errorf("stage %q: %w", s.Name, err)
		}
		for _, o := range s.Makes {
			if other, taken := g.maker[o.Name]; taken {
				return fmt.Errorf("output %q is made by stage %q and by stage %q", o.Name, stages[other].Name, s.Name)
			}
			g.maker[o.Name] = i
		}
	}
	return g.checkNeeds(stages)
}

func checkStage(s Stage) error {
	switch {
	case !stageName.MatchString(s.Name):
		return errors.New("a stage's name has lower-case letters, digits, '_' and '-', a letter first")
	case s.Run == nil:
		return errors.New("it has no Run")
	case len(s.Makes) == 0:
		return errors.New("it makes nothing")
	}
	if err := writeParams(&strings.Builder{}, s.Params); err != nil {
		return err
	}
	for _, o := range s.Makes {
		if !printable(o.Name) {
			return fmt.Errorf("output name %q is empty or can't be printed", o.Name)
		}
		if o.Schema == nil {
			continue
		}
		if err := table.CheckSchema(o.Schema); err != nil {
			return fmt.Errorf("output %q: %w", o.Name, err)
		}
	}
	return nil
}

func printable(name string) bool {
	return name != "" && utf8.ValidString(name) && !strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) })
}

func (g *Graph) checkNeeds(stages []Stage) error {
	for _, s := range stages {
		for i, need := range s.Needs {
			if _, made := g.maker[need]; !made {
				return fmt.Errorf("stage %q needs %q, which no stage makes", s.Name, need)
			}
			if slices.Contains(s.Needs[:i], need) {
				return fmt.Errorf("stage %q needs %q twice", s.Name, need)
			}
		}
	}
	return nil
}

func checkSources(stages []Stage) error {
	paths := map[string]string{}
	for _, s := range stages {
		mine := map[string]bool{}
		for _, src := range s.Sources {
			if !printable(src.Name) || src.Path == "" {
				return fmt.Errorf("stage %q has a source with the name %q and the path %q", s.Name, src.Name, src.Path)
			}
			if mine[src.Name] {
				return fmt.Errorf("stage %q reads source %q twice", s.Name, src.Name)
			}
			mine[src.Name] = true
			if other, ok := paths[src.Name]; ok && other != src.Path {
				return fmt.Errorf("source %q stands for two files, %s and %s", src.Name, other, src.Path)
			}
			paths[src.Name] = src.Path
		}
	}
	return nil
}

// order gives indexes such that makers come before users, and else the given order is kept: at each
// step the first stage that can run is taken.
func order(stages []Stage, maker map[string]int) ([]int, error) {
	var out []int
	placed := make([]bool, len(stages))
	for len(out) < len(stages) {
		next := firstReady(stages, maker, placed)
		if next < 0 {
			return nil, cycleError(stages, maker, placed)
		}
		placed[next] = true
		out = append(out, next)
	}
	return out, nil
}

// firstReady gives the first stage not placed yet whose needs all are, or -1.
func firstReady(stages []Stage, maker map[string]int, placed []bool) int {
	for i, s := range stages {
		if !placed[i] && ready(s, maker, placed) {
			return i
		}
	}
	return -1
}

func ready(s Stage, maker map[string]int, placed []bool) bool {
	return !slices.ContainsFunc(s.Needs, func(need string) bool { return !placed[maker[need]] })
}

// cycleError names a cycle: from any stage that can't be placed, going on to a need that can't be
// placed either must come back.
func cycleError(stages []Stage, maker map[string]int, placed []bool) error {
	at := slices.Index(placed, false)
	var path []int
	for !slices.Contains(path, at) {
		path = append(path, at)
		i := slices.IndexFunc(stages[at].Needs, func(need string) bool { return !placed[maker[need]] })
		at = maker[stages[at].Needs[i]]
	}
	var names []string
	for _, i := range path[slices.Index(path, at):] {
		names = append(names, stages[i].Name)
	}
	names = append(names, stages[at].Name)
	return fmt.Errorf("stages wait for one another: %s", strings.Join(names, " needs "))
}

// Stages gives the stages in the order of the graph.
func (g *Graph) Stages() []Stage { return slices.Clone(g.stages) }

// Outputs gives all outputs in the order of the graph.
func (g *Graph) Outputs() []Output {
	var out []Output
	for _, s := range g.stages {
		out = append(out, s.Makes...)
	}
	return out
}

// Describe gives the graph as text, a line for each stage: name, version, what it reads, what it makes.
func (g *Graph) Describe() string {
	var b strings.Builder
	for _, s := range g.stages {
		fmt.Fprintf(&b, "%s %d:", s.Name, s.Version)
		for _, src := range s.Sources {
			fmt.Fprintf(&b, " file %s", src.Name)
		}
		for _, need := range s.Needs {
			fmt.Fprintf(&b, " %s", need)
		}
		b.WriteString(" ->")
		for _, o := range s.Makes {
			fmt.Fprintf(&b, " %s", o.Name)
		}
		b.WriteByte('\n')
	}
	return b.String()
}
