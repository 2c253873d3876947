package pipeline_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/store"
	"fairlobe/pipeline/table"
)

func schemaOf(sort string, fields ...arrow.Field) *arrow.Schema {
	md := arrow.MetadataFrom(map[string]string{table.MetaSort: sort})
	return arrow.NewSchema(fields, &md)
}

var (
	numbers = schemaOf("n", arrow.Field{Name: "n", Type: arrow.PrimitiveTypes.Int64, Metadata: arrow.MetadataFrom(map[string]string{"unit": "m"})})
	sums    = schemaOf("", arrow.Field{Name: "sum", Type: arrow.PrimitiveTypes.Int64})
)

// bench is a small shop: two files of numbers, each read by a stage of its own, a sum over the even
// numbers of the first, and a page over everything.
//
//	a.txt -> read-a -> a -> even -> evens -> total -> sum -+-> page -> page.txt
//	b.txt -> read-b -> b ----------------------------------+
type bench struct {
	dir    string
	offset int // parameter of stage total
	ran    *sync.Map
	mem    memory.Allocator
}

type totalParams struct{ Offset int }

func newBench(t testing.TB) *bench {
	t.Helper()
	b := &bench{dir: t.TempDir(), ran: &sync.Map{}}
	b.write(t, "a.txt", "1\n2\n4\n")
	b.write(t, "b.txt", "7\n")
	return b
}

func (b *bench) write(t testing.TB, name, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(filepath.Join(b.dir, name), []byte(text), 0o644))
}

func (b *bench) source(name string) pipeline.Source {
	return pipeline.Source{Name: "data/" + name, Path: filepath.Join(b.dir, name)}
}

func readNumbers(in *pipeline.Input, out string) (*pipeline.Result, error) {
	f, err := in.Open(in.Sources()[0].Name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows := table.NewBuilderIn(in.Mem, numbers)
	defer rows.Release()
	var notes diag.List
	lines := bufio.NewScanner(f)
	for line := 1; lines.Scan(); line++ {
		n, err := strconv.Atoi(lines.Text())
		if err != nil {
			notes = append(notes, diag.Diag{Pos: diag.Pos{File: in.Sources()[0].Name, Line: line}, Severity: diag.Warning, Msg: "no number: " + lines.Text()})
			continue
		}
		rows.Append(n)
	}
	return &pipeline.Result{Tables: map[string]arrow.Record{out: rows.Record()}, Notes: notes}, lines.Err()
}

func (b *bench) stages() []pipeline.Stage {
	reader := func(name, out, file string) pipeline.Stage {
		return pipeline.Stage{Name: name, Version: 1, Sources: []pipeline.Source{b.source(file)}, Makes: []pipeline.Output{{Name: out, Schema: numbers}},
			Run: func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) { return readNumbers(in, out) }}
	}
	stages := []pipeline.Stage{
		{Name: "page", Version: 1, Needs: []string{"sum", "b", "words"}, Makes: []pipeline.Output{{Name: "page.txt"}}, Run: page},
		reader("read-a", "a", "a.txt"),
		{Name: "even", Version: 1, Needs: []string{"a"}, Makes: []pipeline.Output{{Name: "evens", Schema: numbers}}, Run: even},
		{Name: "total", Version: 1, Needs: []string{"evens"}, Params: totalParams{b.offset}, Makes: []pipeline.Output{{Name: "sum", Schema: sums}, {Name: "words"}}, Run: total(b.offset)},
		reader("read-b", "b", "b.txt"),
	}
	for i := range stages {
		run, name := stages[i].Run, stages[i].Name
		stages[i].Run = func(ctx context.Context, in *pipeline.Input) (*pipeline.Result, error) {
			b.ran.Store(name, true)
			return run(ctx, in)
		}
	}
	return stages
}

func even(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) {
	rows := table.NewBuilderIn(in.Mem, numbers)
	defer rows.Release()
	for r := table.NewReader(in.Table("a")); r.Next(); {
		if r.Int("n")%2 == 0 {
			rows.Append(r.Int("n"))
		}
	}
	return &pipeline.Result{Tables: map[string]arrow.Record{"evens": rows.Record()}}, nil
}

func total(offset int) func(context.Context, *pipeline.Input) (*pipeline.Result, error) {
	return func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) {
		sum := int64(offset)
		for r := table.NewReader(in.Table("evens")); r.Next(); {
			sum += r.Int("n")
		}
		rows := table.NewBuilderIn(in.Mem, sums)
		defer rows.Release()
		rows.Append(sum)
		return &pipeline.Result{
			Tables: map[string]arrow.Record{"sum": rows.Record()},
			Files:  map[string][]byte{"words": []byte("a sum")},
			Notes:  diag.List{{Severity: diag.Warning, Code: "few", Msg: "few numbers \xff"}},
		}, nil
	}
}

func page(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) {
	text := fmt.Sprintf("%s: %d, and %d rows\n", in.File("words"), table.Ints(in.Table("sum"), "sum").Value(0), in.Table("b").NumRows())
	return &pipeline.Result{Files: map[string][]byte{"page.txt": []byte(text)}}, nil
}

func (b *bench) run(t testing.TB, opt pipeline.Options) *pipeline.Outcome {
	t.Helper()
	b.ran.Clear()
	out, err := b.try(opt)
	require.NoError(t, err)
	return out
}

func (b *bench) try(opt pipeline.Options) (*pipeline.Outcome, error) {
	g, err := pipeline.NewGraph(b.stages()...)
	if err != nil {
		return nil, err
	}
	opt.Salt += "test"
	opt.Mem = b.mem
	return pipeline.Run(context.Background(), g, opt)
}

// executed gives the stages that ran, sorted.
func (b *bench) executed() []string {
	names := []string{}
	b.ran.Range(func(k, _ any) bool {
		names = append(names, k.(string))
		return true
	})
	slices.Sort(names)
	return names
}

func newStore(t testing.TB) *store.Store {
	t.Helper()
	st, err := store.Open(filepath.Join(t.TempDir(), "store"))
	require.NoError(t, err)
	return st
}

// everything gives all bytes and digests of an outcome as one text.
func everything(t testing.TB, out *pipeline.Outcome) string {
	t.Helper()
	var b strings.Builder
	for _, name := range []string{"a", "b", "evens", "sum", "words", "page.txt"} {
		data, err := out.Bytes(name)
		require.NoError(t, err)
		fmt.Fprintf(&b, "%s %s %q\n", name, out.Digest(name), data)
	}
	fmt.Fprintln(&b, out.Notes, out.Inputs)
	for _, s := range out.Stages {
		fmt.Fprintln(&b, s.Name, s.Version, s.Key)
	}
	return b.String()
}

func TestRunMakesTheOutputs(t *testing.T) {
	b := newBench(t)
	mem := memory.NewCheckedAllocator(memory.NewGoAllocator())
	b.mem = mem
	defer mem.AssertSize(t, 0)
	out := b.run(t, pipeline.Options{Store: newStore(t)})

	text, err := out.Bytes("page.txt")
	require.NoError(t, err)
	assert.Equal(t, "a sum: 6, and 1 rows\n", string(text))
	rec, err := out.Table("evens")
	require.NoError(t, err)
	defer rec.Release()
	assert.Equal(t, []int64{2, 4}, table.Ints(rec, "n").Int64Values())
	assert.True(t, rec.Schema().Equal(numbers), "units come with the table")
	assert.Equal(t, table.Digest(rec), out.Digest("evens"))
	assert.Equal(t, "sha256:"+store.Sum([]byte("a sum")), out.Digest("words"))

	var names []string
	for _, s := range out.Stages {
		names = append(names, s.Name)
	}
	assert.Equal(t, []string{"read-a", "even", "total", "read-b", "page"}, names)
	assert.Equal(t, 5, out.Executed())
	require.Len(t, out.Inputs, 2)
	assert.Equal(t, "data/a.txt", out.Inputs[0].Name)
	assert.Equal(t, int64(6), out.Inputs[0].Bytes)
	assert.Equal(t, store.Sum([]byte("1\n2\n4\n")), out.Inputs[0].SHA256)

	_, err = out.Bytes("nothing")
	require.EqualError(t, err, `no stage makes an output named "nothing"`)
	_, err = out.Table("words")
	require.EqualError(t, err, "output words is a file, not a table")
	assert.Empty(t, out.Digest("nothing"))
}

func TestSecondRunExecutesNothing(t *testing.T) {
	b, st := newBench(t), newStore(t)
	first := b.run(t, pipeline.Options{Store: st})
	second := b.run(t, pipeline.Options{Store: st})
	assert.Empty(t, b.executed())
	assert.Zero(t, second.Executed())
	assert.Equal(t, everything(t, first), everything(t, second), "notes are given again, bytes are the same")
	assert.Equal(t, "few numbers \uFFFD", second.Notes[0].Msg)
}

func TestOnlyWhatChangedRuns(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(t *testing.T, b *bench)
		salt   string
		want   []string
		reason map[string]string
	}{
		{"a source", func(t *testing.T, b *bench) { b.write(t, "b.txt", "7\n8\n") }, "", []string{"page", "read-b"},
			map[string]string{"read-b": changed("source data/b.txt"), "page": changed("need b")}},
		{"a source to the end", func(t *testing.T, b *bench) { b.write(t, "a.txt", "6\n8\n") }, "", []string{"even", "page", "read-a", "total"},
			map[string]string{"even": changed("need a")}},
		{"an odd number more: the even ones are the same bytes", func(t *testing.T, b *bench) { b.write(t, "a.txt", "1\n2\n3\n4\n") }, "", []string{"even", "read-a"}, nil},
		{"a line that is no number: the table is the same", func(t *testing.T, b *bench) { b.write(t, "a.txt", "1\nx\n2\n4\n") }, "", []string{"read-a"}, nil},
		{"a parameter", func(t *testing.T, b *bench) { b.offset = 1 }, "", []string{"page", "total"}, map[string]string{"total": "param Offset was 0, is 1"}},
		{"the time of a file", func(t *testing.T, b *bench) {
			require.NoError(t, os.Chtimes(filepath.Join(b.dir, "a.txt"), time.Unix(1, 0), time.Unix(1, 0)))
		}, "", []string{}, nil},
		{"the place of the files", func(t *testing.T, b *bench) {
			moved := filepath.Join(t.TempDir(), "elsewhere")
			require.NoError(t, os.Rename(b.dir, moved))
			b.dir = moved
		}, "", []string{}, nil},
		{"the tool", func(*testing.T, *bench) {}, "new ", []string{"even", "page", "read-a", "read-b", "total"}, map[string]string{"even": regexp.QuoteMeta(`tool was "test", is "new test"`)}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b, st := newBench(t), newStore(t)
			b.run(t, pipeline.Options{Store: st})
			tt.change(t, b)
			out := b.run(t, pipeline.Options{Store: st, Salt: tt.salt})
			assert.Equal(t, tt.want, b.executed())
			assert.Equal(t, len(tt.want), out.Executed())
			for _, s := range out.Stages {
				if want, ok := tt.reason[s.Name]; ok {
					assert.Regexp(t, "^"+want+"$", s.Reason, s.Name)
				}
				assert.Equal(t, s.Cached, s.Reason == "", s.Name)
			}
			fresh := b.run(t, pipeline.Options{Salt: tt.salt})
			assert.Equal(t, everything(t, fresh), everything(t, out), "as if nothing had been stored")
		})
	}
}

// changed is the reason why a stage runs again if the digest of what the label names is another.
func changed(label string) string {
	return regexp.QuoteMeta(label) + ` was sha256:[0-9a-f]{12}\.\.\., is sha256:[0-9a-f]{12}\.\.\.`
}

func TestJobsChangeNothing(t *testing.T) {
	b := newBench(t)
	serial := everything(t, b.run(t, pipeline.Options{Jobs: 1}))
	for range 5 {
		assert.Equal(t, serial, everything(t, b.run(t, pipeline.Options{Jobs: 4, Store: newStore(t)})))
	}
}

func TestDamagedStoreIsMended(t *testing.T) {
	b, st := newBench(t), newStore(t)
	want := everything(t, b.run(t, pipeline.Options{Store: st}))
	out := b.run(t, pipeline.Options{Store: st})
	words, err := out.Bytes("words")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(st.Dir(), "data", store.Sum(words)), []byte("b sum"), 0o644))
	again := b.run(t, pipeline.Options{Store: st})
	assert.Equal(t, []string{"total"}, b.executed())
	assert.Equal(t, want, everything(t, again))
	assert.Equal(t, "the stored result is damaged: output words: its sum is wrong", again.Stages[2].Reason)
}

func TestTwoRunsShareOneStore(t *testing.T) {
	b, st := newBench(t), newStore(t)
	want := everything(t, b.run(t, pipeline.Options{}))
	outs := make(chan *pipeline.Outcome)
	for range 3 {
		go func() {
			out, err := b.try(pipeline.Options{Store: st, Jobs: 2})
			assert.NoError(t, err)
			outs <- out
		}()
	}
	for range 3 {
		assert.Equal(t, want, everything(t, <-outs))
	}
}

func TestProgressTellsEveryStage(t *testing.T) {
	b, st := newBench(t), newStore(t)
	for _, want := range [][]pipeline.State{{pipeline.Waiting, pipeline.Running, pipeline.Done}, {pipeline.Waiting, pipeline.Cached}} {
		states := map[string][]pipeline.State{}
		var last pipeline.Event
		b.run(t, pipeline.Options{Store: st, Jobs: 3, Progress: func(e pipeline.Event) {
			states[e.Stage] = append(states[e.Stage], e.State)
			assert.GreaterOrEqual(t, e.Done, last.Done)
			last = e
		}})
		assert.Len(t, states, 5)
		for name, got := range states {
			assert.Equal(t, want, got, name)
		}
		assert.Equal(t, 5, last.Done)
		assert.Equal(t, 5, last.Total)
	}
	assert.Equal(t, "waiting cached running done failed", strings.Trim(fmt.Sprint([]pipeline.State{0, 1, 2, 3, 4}), "[]"))
}

func TestMissingSourcesAreToldTogether(t *testing.T) {
	b := newBench(t)
	require.NoError(t, os.Remove(filepath.Join(b.dir, "a.txt")))
	require.NoError(t, os.Remove(filepath.Join(b.dir, "b.txt")))
	require.NoError(t, os.Mkdir(filepath.Join(b.dir, "b.txt"), 0o755))
	_, err := b.try(pipeline.Options{})
	var faults diag.List
	require.ErrorAs(t, err, &faults)
	assert.EqualError(t, err, `data/a.txt: there is no such file
    mend: put the file there, or correct its name where it is asked for
data/b.txt: this is a folder or a device, not a file
    mend: name a file`)
	assert.Empty(t, b.executed())
}

func TestSourceThatChangesWhileItIsReadIsRefused(t *testing.T) {
	b, st := newBench(t), newStore(t)
	for _, tt := range []struct {
		name string
		run  func(t *testing.T, r io.Reader) error
	}{
		{"changed before the first byte", func(t *testing.T, r io.Reader) error {
			_, err := io.Copy(io.Discard, r)
			return err
		}},
		{"read to the half only", func(t *testing.T, r io.Reader) error {
			_, err := r.Read(make([]byte, 1))
			return err
		}},
		{"the stage fails on what it finds", func(t *testing.T, r io.Reader) error { return errors.New("bad number") }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b.write(t, "c.txt", tt.name)
			g, err := pipeline.NewGraph(pipeline.Stage{Name: "c", Sources: []pipeline.Source{b.source("c.txt")}, Makes: []pipeline.Output{{Name: "c"}},
				Run: func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) {
					b.write(t, "c.txt", tt.name+" and more")
					f, err := in.Open("data/c.txt")
					if err != nil {
						return nil, err
					}
					return &pipeline.Result{Files: map[string][]byte{"c": nil}}, tt.run(t, f)
				}})
			require.NoError(t, err)
			_, err = pipeline.Run(context.Background(), g, pipeline.Options{Store: st})
			require.EqualError(t, err, "data/c.txt: the file changed while it was being read, so its result was thrown away\n    mend: run again when nothing writes to the file")
			keys, err := os.ReadDir(filepath.Join(st.Dir(), "keys"))
			require.NoError(t, err)
			assert.Empty(t, keys)
		})
	}
}

func TestCancelStopsAndLeavesTheStoreWhole(t *testing.T) {
	b, st := newBench(t), newStore(t)
	ctx, cancel := context.WithCancel(context.Background())
	var after atomic.Bool
	stages := append(b.stages(),
		pipeline.Stage{Name: "slow", Needs: []string{"sum"}, Makes: []pipeline.Output{{Name: "slow"}}, Run: func(ctx context.Context, _ *pipeline.Input) (*pipeline.Result, error) {
			cancel()
			<-ctx.Done()
			return nil, fmt.Errorf("interrupted at row 3: %w", ctx.Err())
		}},
		pipeline.Stage{Name: "after", Needs: []string{"slow"}, Makes: []pipeline.Output{{Name: "after"}}, Run: func(context.Context, *pipeline.Input) (*pipeline.Result, error) {
			after.Store(true)
			return nil, nil
		}})
	g, err := pipeline.NewGraph(stages...)
	require.NoError(t, err)
	_, err = pipeline.Run(ctx, g, pipeline.Options{Store: st, Jobs: 2, Salt: "test"})
	assert.Equal(t, context.Canceled, err)
	assert.False(t, after.Load())

	_, err = pipeline.Run(ctx, g, pipeline.Options{Store: st})
	assert.Equal(t, context.Canceled, err, "a run that is cancelled before it starts")
	b.run(t, pipeline.Options{Store: st})
	assert.NotContains(t, b.executed(), "total", "what was done before is kept")
}

func TestReadingStopsWhenCancelled(t *testing.T) {
	b := newBench(t)
	ctx, cancel := context.WithCancel(context.Background())
	in := pipeline.NewInput(ctx, memory.NewGoAllocator(), nil, nil, b.source("a.txt"))
	f, err := in.Open("data/a.txt")
	require.NoError(t, err)
	cancel()
	_, err = io.ReadAll(f)
	require.ErrorIs(t, err, context.Canceled)
	require.ErrorIs(t, f.Close(), context.Canceled)
}
