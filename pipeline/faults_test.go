package pipeline_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/table"
)

type runFunc = func(context.Context, *pipeline.Input) (*pipeline.Result, error)

func file(name, text string) *pipeline.Result {
	return &pipeline.Result{Files: map[string][]byte{name: []byte(text)}}
}

// stage makes one file, named like the stage.
func stage(name string, needs ...string) pipeline.Stage {
	return pipeline.Stage{Name: name, Needs: needs, Makes: []pipeline.Output{{Name: name}},
		Run: func(context.Context, *pipeline.Input) (*pipeline.Result, error) { return file(name, name), nil }}
}

func with(s pipeline.Stage, change func(s *pipeline.Stage)) pipeline.Stage {
	change(&s)
	return s
}

type hidden struct {
	Shown  int
	secret int
}

type embeds struct{ totalParams }

func TestGraphRefuses(t *testing.T) {
	src := func(name, path string) func(*pipeline.Stage) {
		return func(s *pipeline.Stage) { s.Sources = append(s.Sources, pipeline.Source{Name: name, Path: path}) }
	}
	params := func(p any) pipeline.Stage { return with(stage("a"), func(s *pipeline.Stage) { s.Params = p }) }
	for _, tt := range []struct {
		name   string
		stages []pipeline.Stage
		want   string
	}{
		{"name twice", []pipeline.Stage{stage("a"), stage("a")}, `two stages are named "a"`},
		{"bad name", []pipeline.Stage{stage("A b")}, `stage "A b": a stage's name has lower-case letters`},
		{"no run", []pipeline.Stage{{Name: "a", Makes: []pipeline.Output{{Name: "x"}}}}, `stage "a": it has no Run`},
		{"makes nothing", []pipeline.Stage{with(stage("a"), func(s *pipeline.Stage) { s.Makes = nil })}, `stage "a": it makes nothing`},
		{"output twice", []pipeline.Stage{stage("a"), with(stage("b"), func(s *pipeline.Stage) { s.Makes[0].Name = "a" })}, `output "a" is made by stage "a" and by stage "b"`},
		{"output name", []pipeline.Stage{with(stage("a"), func(s *pipeline.Stage) { s.Makes[0].Name = "a\n" })}, `output name "a\n" is empty or can't be printed`},
		{"output schema", []pipeline.Stage{with(stage("a"), func(s *pipeline.Stage) {
			s.Makes[0].Schema = arrow.NewSchema([]arrow.Field{{Name: "d", Type: arrow.FixedWidthTypes.Date32}}, nil)
		})}, `stage "a": output "a": column "d" has type date32`},
		{"need unmade", []pipeline.Stage{stage("a", "x")}, `stage "a" needs "x", which no stage makes`},
		{"need twice", []pipeline.Stage{stage("x"), stage("a", "x", "x")}, `stage "a" needs "x" twice`},
		{"source twice", []pipeline.Stage{with(with(stage("a"), src("f", "p")), src("f", "p"))}, `stage "a" reads source "f" twice`},
		{"source of two files", []pipeline.Stage{with(stage("a"), src("f", "p")), with(stage("b"), src("f", "q"))}, `source "f" stands for two files, p and q`},
		{"source without path", []pipeline.Stage{with(stage("a"), src("f", ""))}, `has a source with the name "f" and the path ""`},
		{"itself", []pipeline.Stage{stage("a", "a")}, "stages wait for one another: a needs a"},
		{"cycle", []pipeline.Stage{stage("start"), stage("end", "c"), stage("a", "start", "b"), stage("b", "c"), stage("c", "a")},
			"stages wait for one another: c needs a needs b needs c"},
		{"params of another kind", []pipeline.Stage{params(7)}, "params are a int, wanted a plain struct"},
		{"hidden param", []pipeline.Stage{params(hidden{1, 2})}, "params.secret is embedded, unexported or hidden from JSON"},
		{"embedded param", []pipeline.Stage{params(embeds{})}, "params.totalParams is embedded"},
		{"omitted param", []pipeline.Stage{params(struct {
			A int `json:"-"`
		}{})}, "params.A is embedded, unexported or hidden from JSON"},
		{"clashing params", []pipeline.Stage{params(struct {
			A int `json:"B"`
			B int
		}{})}, `params has two fields with the JSON name "B"`},
		{"func param", []pipeline.Stage{params(struct{ F func() }{})}, "params.F is a func"},
		{"interface param", []pipeline.Stage{params(struct{ V []any }{[]any{1}})}, "params.V[0] is a interface"},
		{"text param", []pipeline.Stage{params(struct{ M map[string]string }{map[string]string{"k": "\xff"}})}, `params.M["k"] is not UTF-8`},
		{"map param", []pipeline.Stage{params(struct{ M map[int]string }{map[int]string{1: ""}})}, "params.M is a map whose keys are not texts"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := pipeline.NewGraph(tt.stages...)
			require.ErrorContains(t, err, "building the graph: ")
			assert.ErrorContains(t, err, tt.want)
		})
	}
	assert.Equal(t, 2, hidden{1, 2}.secret)
}

func TestGraphOrderAndDescription(t *testing.T) {
	d := with(stage("d"), func(s *pipeline.Stage) {
		s.Version = 3
		s.Sources = []pipeline.Source{{Name: "in/x.csv", Path: "/data/x.csv"}}
		s.Makes = append(s.Makes, pipeline.Output{Name: "d.log"})
	})
	g, err := pipeline.NewGraph(stage("b", "c", "a"), stage("a"), d, stage("c", "d"))
	require.NoError(t, err)
	assert.Equal(t, "a 0: -> a\nd 3: file in/x.csv -> d d.log\nc 0: d -> c\nb 0: c a -> b\n", g.Describe())
	assert.Len(t, g.Stages(), 4)
	assert.Equal(t, "d.log", g.Outputs()[2].Name)
}

func running(name string, run runFunc, needs ...string) pipeline.Stage {
	return with(stage(name, needs...), func(s *pipeline.Stage) { s.Run = run })
}

func fails(err error) runFunc {
	return func(context.Context, *pipeline.Input) (*pipeline.Result, error) { return nil, err }
}

func runStages(t *testing.T, opt pipeline.Options, stages ...pipeline.Stage) error {
	t.Helper()
	g, err := pipeline.NewGraph(stages...)
	require.NoError(t, err)
	_, err = pipeline.Run(context.Background(), g, opt)
	return err
}

// The first failing stage in the order of the graph decides, also when a later one fails sooner.
func TestTheErrorDoesNotDependOnJobs(t *testing.T) {
	for _, jobs := range []int{1, 2, 4} {
		laterFailed := make(chan struct{})
		slow := func(context.Context, *pipeline.Input) (*pipeline.Result, error) {
			if jobs > 1 {
				<-laterFailed
			}
			return nil, errors.New("slow and wrong")
		}
		var behind bool
		err := runStages(t, pipeline.Options{Jobs: jobs, Progress: func(e pipeline.Event) {
			if e.Stage == "quick" && e.State == pipeline.Failed {
				close(laterFailed)
			}
		}},
			running("slow", slow),
			running("quick", fails(errors.New("quick and wrong"))),
			running("behind", func(context.Context, *pipeline.Input) (*pipeline.Result, error) { behind = true; return nil, nil }, "quick"))
		require.EqualError(t, err, "stage slow: slow and wrong", "%d jobs", jobs)
		assert.False(t, behind, "what stands behind a failed stage does not run")
	}
}

func TestStageFaults(t *testing.T) {
	wrongSchema := arrow.NewSchema([]arrow.Field{{Name: "m", Type: arrow.PrimitiveTypes.Int64}}, nil)
	rows := func(schema *arrow.Schema, values ...int) *pipeline.Result {
		b := table.NewBuilder(schema)
		for _, v := range values {
			b.Append(v)
		}
		return &pipeline.Result{Tables: map[string]arrow.Record{"t": b.Record()}}
	}
	gives := func(res *pipeline.Result) runFunc {
		return func(context.Context, *pipeline.Input) (*pipeline.Result, error) { return res, nil }
	}
	fault := diag.List{{Pos: diag.Pos{File: "x.csv", Line: 2}, Msg: "bad row"}}
	for _, tt := range []struct {
		name string
		run  runFunc
		want string
	}{
		{"error", fails(os.ErrDeadlineExceeded), "stage t: i/o timeout"},
		{"findings stay as they are", fails(fault), "x.csv:2: bad row"},
		{"faults in the notes", gives(&pipeline.Result{Notes: fault}), "x.csv:2: bad row"},
		{"nothing", gives(nil), "stage t: it gave no result"},
		{"too few", gives(&pipeline.Result{}), "stage t: it made 0 outputs and declared 1"},
		{"file for table", gives(file("t", "")), "stage t: output t: declared as a table, not made as one"},
		{"other name", gives(&pipeline.Result{Tables: map[string]arrow.Record{"u": rows(numbers).Tables["t"]}}), "stage t: output t: declared as a table, not made as one"},
		{"schema", gives(rows(wrongSchema, 1)), `stage t: output t: column "m" stands where the schema has "n"`},
		{"order", gives(rows(numbers, 1, 3, 2)), "stage t: output t: rows are not sorted by n: row 2 (2) stands after row 1 (3)"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := running("t", tt.run)
			s.Makes[0].Schema = numbers
			require.EqualError(t, runStages(t, pipeline.Options{Store: newStore(t)}, s), tt.want)
		})
	}
	assert.EqualError(t, runStages(t, pipeline.Options{}, running("f", gives(rows(numbers)))), "stage f: output f: declared as a file, not made as one")
}

func TestPanicIsAnErrorThatNamesTheStage(t *testing.T) {
	err := runStages(t, pipeline.Options{Jobs: 2}, stage("a"), running("b", func(context.Context, *pipeline.Input) (*pipeline.Result, error) { panic("row 7 is odd") }, "a"))
	require.ErrorContains(t, err, "stage b: it panicked, which is a mistake in the program: row 7 is odd\n")
	assert.ErrorContains(t, err, "faults_test.go", "the stack tells the line")
}

func TestAStageSeesOnlyWhatItDeclared(t *testing.T) {
	for want, look := range map[string]func(in *pipeline.Input){
		`table "a" is not among the needs of the stage`:         func(in *pipeline.Input) { in.Table("a") },
		`file "x" is not among the needs of the stage`:          func(in *pipeline.Input) { in.File("x") },
		`source "s.csv" is not among the sources of the stage`:  func(in *pipeline.Input) { in.Open("s.csv") },
		`source "../s.csv" is not among the sources of the sta`: func(in *pipeline.Input) { in.Open("../s.csv") },
	} {
		err := runStages(t, pipeline.Options{}, stage("a"), stage("x"), running("b", func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) {
			look(in)
			return nil, nil
		}, "a"))
		assert.ErrorContains(t, err, want)
	}
	in := pipeline.NewInput(context.Background(), memory.NewGoAllocator(), nil, map[string][]byte{"f": []byte("abc")}, pipeline.Source{Name: "n", Path: filepath.Join(t.TempDir(), "no")})
	in.File("f")[0] = 'X'
	assert.Equal(t, "abc", string(in.File("f")), "what a stage does to a file stays with it")
	_, err := in.Open("n")
	require.ErrorIs(t, err, os.ErrNotExist)
	assert.ErrorContains(t, err, "opening n: ")
}

func TestVerify(t *testing.T) {
	b, st := newBench(t), newStore(t)
	verify := func() *pipeline.Verified {
		g, err := pipeline.NewGraph(b.stages()...)
		require.NoError(t, err)
		v, err := pipeline.Verify(context.Background(), g, pipeline.Options{Store: st, Salt: "test"})
		require.NoError(t, err)
		return v
	}
	assert.Equal(t, &pipeline.Verified{Missing: []string{"read-a", "even", "total", "read-b", "page"}}, verify())
	b.run(t, pipeline.Options{Store: st})
	assert.Equal(t, &pipeline.Verified{Checked: 5}, verify())

	// A stage that depends on what it did not declare.
	lines := "7\n"
	moody := func() pipeline.Stage {
		return running("moody", func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) {
			b := table.NewBuilder(numbers)
			b.Append(len(lines))
			return &pipeline.Result{Tables: map[string]arrow.Record{"moody": b.Record()}, Files: map[string][]byte{"log": []byte("x" + lines)}}, nil
		})
	}
	s := moody()
	s.Makes = []pipeline.Output{{Name: "moody", Schema: numbers}, {Name: "log"}}
	g, err := pipeline.NewGraph(s)
	require.NoError(t, err)
	_, err = pipeline.Run(context.Background(), g, pipeline.Options{Store: st})
	require.NoError(t, err)
	lines = "7\n8\n"
	v, err := pipeline.Verify(context.Background(), g, pipeline.Options{Store: st})
	require.NoError(t, err)
	assert.Equal(t, []pipeline.Difference{
		{Stage: "moody", Output: "moody", Where: `column "n", row 0: "2", now "4"`},
		{Stage: "moody", Output: "log", Where: "byte 3 of 3, now of 5"},
	}, v.Differences)

	_, err = pipeline.Verify(context.Background(), g, pipeline.Options{})
	require.EqualError(t, err, "verifying: there is no store")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = pipeline.Verify(ctx, g, pipeline.Options{Store: st})
	require.Equal(t, context.Canceled, err)
}

func TestNotesOfARunAreInGraphOrder(t *testing.T) {
	warns := func(name string, needs ...string) pipeline.Stage {
		return running(name, func(context.Context, *pipeline.Input) (*pipeline.Result, error) {
			res := file(name, "")
			res.Notes = diag.List{{Severity: diag.Warning, Msg: name}}
			return res, nil
		}, needs...)
	}
	g, err := pipeline.NewGraph(warns("c", "b"), warns("a"), warns("b"), warns("d"))
	require.NoError(t, err)
	for range 5 {
		out, err := pipeline.Run(context.Background(), g, pipeline.Options{Jobs: 4})
		require.NoError(t, err)
		assert.Equal(t, "warning: a warning: b warning: c warning: d", strings.ReplaceAll(out.Notes.Error(), "\n", " "))
	}
}
