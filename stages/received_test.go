package stages

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/stretchr/testify/require"

	"fairlobe/experiments"
	"fairlobe/experiments/looks"
	"fairlobe/experiments/seal"
	"fairlobe/pipeline/table"
	"fairlobe/stages/handover"
	"fairlobe/stages/schedule"
)

// parcel is a payload by the names of its files.
type parcel map[string][]byte

func (p parcel) file(name string) ([]byte, bool) { data, ok := p[name]; return data, ok }

func (p parcel) received() (*Received, error) {
	return ReceivedIn(slices.Sorted(maps.Keys(p)), p.file)
}

// described writes the description anew, so that what is wrong in a file is found there.
func (p parcel) described(t *testing.T) parcel {
	t.Helper()
	delete(p, handover.FilePackage)
	var resources []any
	for _, name := range slices.Sorted(maps.Keys(p)) {
		resources = append(resources, map[string]any{"path": name, "bytes": len(p[name]), "hash": fmt.Sprintf("sha256:%x", sha256.Sum256(p[name]))})
	}
	text, err := json.Marshal(map[string]any{"profile": "data-package", "resources": resources})
	require.NoError(t, err)
	p[handover.FilePackage] = text
	return p
}

// sharedSeal gives the demo's seal as it is handed over.
func sharedSeal(t *testing.T, exp *experiments.Experiment, path string) []byte {
	t.Helper()
	s, err := seal.Read(path)
	require.NoError(t, err)
	canonical, err := exp.Canonical()
	require.NoError(t, err)
	content, err := experiments.PrivateContent(canonical)
	require.NoError(t, err)
	shared, err := seal.Share(s, content)
	require.NoError(t, err)
	text, err := shared.Encode()
	require.NoError(t, err)
	return text
}

// ridgeWire is the demo as it is handed over; made once, since it takes a second.
var ridgeWire = sync.OnceValue(func() parcel {
	t := &testing.T{}
	h := atHome(t, "../experiments/ridge-wire.toml")
	out, err := h.HandOver(context.Background(), handover.Key{4})
	require.NoError(t, err)
	defer out.Release()
	p := parcel{}
	for _, f := range out.Files {
		p[f.Name] = f.Data
	}
	p[handover.FileSeal] = sharedSeal(t, h.Experiment, "../experiments/ridge-wire.seal.json")
	p[handover.FileLooks], err = looks.Private(nil, "", "")
	require.NoError(t, err)
	log, err := os.ReadFile("../datasets/ridge-wire/log/switches.csv")
	require.NoError(t, err)
	p[handover.FileSwitches], err = handover.HideLog(log, handover.NewHidden())
	require.NoError(t, err)
	p[handover.FileManifest] = []byte("{}\n")
	return p.described(t)
})

// design is what is handed over before there are data.
func design() parcel {
	p := parcel{}
	for _, name := range []string{handover.FileExperiment, handover.FileSchedule, handover.FileSeal} {
		p[name] = ridgeWire()[name]
	}
	return p
}

func TestWholeParcels(t *testing.T) {
	r, err := ridgeWire().received()
	require.NoError(t, err)
	defer r.Release()
	require.NotNil(t, r.Given)
	require.True(t, r.SealedBeforeFirstDwell())
	require.Nil(t, r.Origin)

	d, err := design().described(t).received()
	require.NoError(t, err)
	require.Nil(t, d.Given)
	require.True(t, d.SealedBeforeFirstDwell())
	require.Equal(t, r.Planned, d.Planned)
}

// edited gives a table with other values; value is asked for each cell.
func (p parcel) edited(t *testing.T, name string, value func(column string, row int, v any) any) {
	t.Helper()
	for _, o := range slices.Concat(givenTables(), judged()) {
		if o.Name != name {
			continue
		}
		rec, err := table.Decode(nil, p[handover.Parquet(name)], o.Schema)
		require.NoError(t, err)
		b := table.NewBuilder(o.Schema)
		for row := range int(rec.NumRows()) {
			var values []any
			for i, f := range o.Schema.Fields() {
				values = append(values, value(f.Name, row, cell(rec.Column(i), row)))
			}
			b.Append(values...)
		}
		p.put(t, name, b.Record())
		return
	}
	t.Fatalf("there is no table %s", name)
}

func (p parcel) put(t *testing.T, name string, rec arrow.Record) {
	t.Helper()
	data, err := table.Encode(rec)
	require.NoError(t, err)
	var text bytes.Buffer
	require.NoError(t, table.WriteCSV(&text, rec))
	p[handover.Parquet(name)], p[handover.CSV(name)] = data, text.Bytes()
}

func cell(col arrow.Array, row int) any {
	if col.IsNull(row) {
		return nil
	}
	switch c := col.(type) {
	case *array.Boolean:
		return c.Value(row)
	case *array.Int64:
		return c.Value(row)
	case *array.Float64:
		return c.Value(row)
	case *array.Timestamp:
		return time.UnixMicro(int64(c.Value(row))).UTC()
	}
	return col.(*array.String).Value(row)
}

// in changes one cell.
func in(column string, row int, v any) func(string, int, any) any {
	return func(c string, r int, was any) any {
		if c == column && r == row {
			return v
		}
		return was
	}
}

// withSchema gives a table without rows of another schema.
func withSchema(fields []arrow.Field, meta map[string]string) arrow.Record {
	m := arrow.MetadataFrom(meta)
	return table.NewBuilder(arrow.NewSchema(fields, &m)).Record()
}

func replaced(old, with string) func([]byte) []byte {
	return func(text []byte) []byte {
		if !bytes.Contains(text, []byte(old)) {
			panic("nothing is like " + old)
		}
		return bytes.Replace(text, []byte(old), []byte(with), 1)
	}
}

// schemaOf gives fields and notes of a table.
func schemaOf(name string) ([]arrow.Field, map[string]string) {
	for _, o := range slices.Concat(givenTables(), judged()) {
		if o.Name == name {
			return slices.Clone(o.Schema.Fields()), o.Schema.Metadata().ToMap()
		}
	}
	panic("there is no table " + name)
}

// Each broken parcel is refused in words that name the file, whatever its checksums say.
func TestBrokenParcels(t *testing.T) {
	type change struct {
		file string
		to   func([]byte) []byte
		edit func(t *testing.T, p parcel)
		want []string
	}
	text := func(s string) func([]byte) []byte { return func([]byte) []byte { return []byte(s) } }
	cases := map[string]change{
		"description is no JSON":              {file: "datapackage.json", to: text("{"), want: []string{"data/datapackage.json: unexpected end"}},
		"description is missing":              {edit: func(_ *testing.T, p parcel) { delete(p, "datapackage.json") }, want: []string{"data/datapackage.json: the bundle has no such file"}},
		"description names what is not there": {file: "datapackage.json", to: replaced(`"path":"intake.json"`, `"path":"../intake.json"`), want: []string{`it describes "../intake.json", which the bundle does not hold`}},
		"description leaves a file out":       {file: "datapackage.json", to: text(`{"resources": []}`), want: []string{"it does not describe"}},
		"description has another hash":        {file: "datapackage.json", to: replaced(`"hash":"sha256:`, `"hash":"sha256:0`), want: []string{"it has another hash for"}},
		"description has another length":      {file: "datapackage.json", to: replaced(`"bytes":`, `"bytes":1`), want: []string{"it says that experiment.toml has"}},
		"an unknown file":                     {edit: func(_ *testing.T, p parcel) { p["run.sh"] = []byte("rm -r") }, want: []string{"data/run.sh: such a file does not belong into a bundle"}},
		"an unknown table":                    {edit: func(_ *testing.T, p parcel) { p["tables/spots.parquet"] = []byte("PAR1") }, want: []string{"data/tables/spots.parquet: such a file does not belong"}},
		"broken TOML":                         {file: "experiment.toml", to: replaced("[fixed]", "[fixed"), want: []string{"data/experiment.toml:", "not TOML"}},
		"TOML with an unknown key":            {file: "experiment.toml", to: replaced("power_w", "power_kw"), want: []string{"data/experiment.toml:", `"power_kw"`}},
		"a later format of experiment":        {file: "experiment.toml", to: replaced("fairlobe = 1", "fairlobe = 2"), want: []string{"data/experiment.toml:", "fairlobe = 2"}},
		"TOML with a number that is none":     {file: "experiment.toml", to: replaced("dwell_min = 6", "dwell_min = nan"), want: []string{"data/experiment.toml:", "nan"}},
		"TOML that names a file outside":      {file: "experiment.toml", to: replaced("[station]", "[station_]\n[station]"), want: []string{"data/experiment.toml:"}},
		"a station in a file elsewhere":       {file: "experiment.toml", to: replaced("fairlobe = 1", "fairlobe = 1\nstation = \"../../etc/passwd\""), want: []string{"data/experiment.toml:"}},
		"no experiment":                       {edit: func(_ *testing.T, p parcel) { delete(p, "experiment.toml") }, want: []string{"data/experiment.toml: the bundle has no such file"}},
		"an order that the seed does not draw": {file: "schedule.csv", to: func(text []byte) []byte {
			return []byte(strings.NewReplacer(",low,", ",high,", ",high,", ",low,").Replace(string(text)))
		}, want: []string{"data/schedule.csv: this is not the schedule that the seed of the experiment draws"}},
		"a schedule that is none":      {file: "schedule.csv", to: text("session\n1\n"), want: []string{"data/schedule.csv:1"}},
		"no schedule":                  {edit: func(_ *testing.T, p parcel) { delete(p, "schedule.csv") }, want: []string{"data/schedule.csv: the bundle has no such file"}},
		"a seal that is no JSON":       {file: "seal.json", to: text("sealed"), want: []string{"data/seal.json: invalid character"}},
		"a seal of a later format":     {file: "seal.json", to: replaced(`"format": 1`, `"format": 2`), want: []string{"data/seal.json: its format is 2"}},
		"a seal of other content":      {file: "seal.json", to: replaced(`"power_w": 4`, `"power_w": 5`), want: []string{"data/seal.json: its content has the digest"}},
		"a seal of another experiment": {edit: otherSeal, want: []string{`data/seal.json: standing.json says that the seal is "same", and it is "order": arm[0]`}},
		"a seal with another seed": {file: "seal.json", to: replaced(`"seed": "4012558071",
  "content"`, `"seed": "4012558072",
  "content"`), want: []string{"data/seal.json: it names another seed than the one that it seals"}},
		"a seal with another date":          {file: "seal.json", to: replaced(`"sealed_at": "2026`, `"sealed_at": "2025`), want: []string{"data/seal.json: standing.json tells of another seal"}},
		"a seal that went missing":          {edit: func(_ *testing.T, p parcel) { delete(p, "seal.json") }, want: []string{"data/seal.json: standing.json says that the seal is", "and it is"}},
		"an experiment named as a path":     {file: "standing.json", to: replaced(`"name": "ridge-wire"`, `"name": "../../ridge-wire"`), want: []string{`data/standing.json: "../../ridge-wire" has other characters`}},
		"an experiment named as a device":   {file: "standing.json", to: replaced(`"name": "ridge-wire"`, `"name": "nul"`), want: []string{`data/standing.json: "nul" is the name of a device`}},
		"a seal whose name steers a screen": {file: "seal.json", to: replaced(`"name": "ridge-wire"`, `"name": "\u001b[2J"`), want: []string{"data/seal.json: its name holds a control character"}},
		"standing that is no JSON":          {file: "standing.json", to: text("[]"), want: []string{"data/standing.json:"}},
		"standing of a later format":        {file: "standing.json", to: replaced(`"format": 1`, `"format": 9`), want: []string{"data/standing.json: its format is 9"}},
		"standing without a look":           {file: "standing.json", to: replaced(`"looks": 1`, `"looks": -1`), want: []string{"data/standing.json: looks = -1"}},
		"standing of another seal":          {file: "standing.json", to: replaced(`"seal": "sha256:`, `"seal": "sha256:0`), want: []string{"data/seal.json: standing.json tells of another seal"}},
		"trial that is no JSON":             {file: "trial.json", to: text("{]"), want: []string{"data/trial.json:"}},
		"intake of other types":             {file: "intake.json", to: text(`{"read": "many"}`), want: []string{"data/intake.json:"}},
		"a ledger that is none":             {file: "looks.csv", to: text("when\n"), want: []string{"data/looks.csv:1: the first line is not"}},
		"a log that is none":                {file: "switches.csv", to: replaced("connected", "exploded"), want: []string{"data/switches.csv:", "exploded"}},
		"verdicts that are no JSON":         {file: "verdicts.json", to: text("all fine"), want: []string{"data/verdicts.json: invalid character"}},
		"verdicts of a later format":        {file: "verdicts.json", to: replaced(`"format": 1`, `"format": 2`), want: []string{"data/verdicts.json: its format is 2, and this version of fairlobe reads 1", "newer version"}},
		"two verdicts in one file":          {file: "verdicts.json", to: func(b []byte) []byte { return slices.Concat(b, b) }, want: []string{"data/verdicts.json: something follows"}},
		"a page that is none":               {file: "report.html", to: text("MZ\x90"), want: []string{"data/report.html: it does not begin as a page of fairlobe does"}},
		"a page with a script":              {file: "report.html", to: replaced("<header>", "<header><script>fetch('//q.example')</script>"), want: []string{`data/report.html: it holds the element "script"`}},
		"a manifest that is no JSON":        {file: "manifest.json", to: text(""), want: []string{"data/manifest.json:"}},
		"an origin that is no JSON":         {edit: func(_ *testing.T, p parcel) { p["origin.json"] = []byte("x") }, want: []string{"data/origin.json: this is no whole origin"}},
		"an origin of a later format":       {edit: func(_ *testing.T, p parcel) { p["origin.json"] = []byte(`{"format": 7}`) }, want: []string{"data/origin.json: its format is 7"}},
		"Parquet cut short":                 {file: "tables/receptions.parquet", to: func(b []byte) []byte { return b[:len(b)/2] }, want: []string{"data/tables/receptions.parquet:"}},
		"Parquet with a hole":               {file: "tables/receptions.parquet", to: func(b []byte) []byte { c := slices.Clone(b); clear(c[40:400]); return c }, want: []string{"data/tables/receptions.parquet:"}},
		"Parquet of nothing":                {file: "tables/dwells.parquet", to: text(""), want: []string{"data/tables/dwells.parquet:"}},
		"Parquet that is a zip":             {file: "tables/paths.parquet", to: text("PK\x03\x04"), want: []string{"data/tables/paths.parquet:"}},
		"a verdict table that is none":      {file: "tables/verdicts.parquet", to: text("PAR1PAR1"), want: []string{"data/tables/verdicts.parquet:"}},
		"CSV that is not its Parquet's":     {file: "tables/cells.csv", to: func(b []byte) []byte { return append(slices.Clone(b), "x"...) }, want: []string{"data/tables/cells.csv: it does not hold what the Parquet file beside it holds"}},
		"a table with a column more": {edit: func(t *testing.T, p parcel) {
			fields, meta := schemaOf("receptions")
			p.put(t, "receptions", withSchema(append(fields, arrow.Field{Name: "call", Type: arrow.BinaryTypes.String}), meta))
		}, want: []string{`data/tables/receptions.parquet: decoding a table: column "call" is not in the schema`}},
		"a table with a column less": {edit: func(t *testing.T, p parcel) {
			fields, meta := schemaOf("receptions")
			p.put(t, "receptions", withSchema(fields[:len(fields)-1], meta))
		}, want: []string{"data/tables/receptions.parquet:", "power_w"}},
		"a table of wrong types": {edit: func(t *testing.T, p parcel) {
			fields, meta := schemaOf("receptions")
			fields[5].Type = arrow.BinaryTypes.String
			p.put(t, "receptions", withSchema(fields, meta))
		}, want: []string{"data/tables/receptions.parquet:", `column "station" has type`}},
		"a table of a later version": {edit: func(t *testing.T, p parcel) {
			fields, meta := schemaOf("receptions")
			meta["version"] = "2"
			p.put(t, "receptions", withSchema(append(fields, arrow.Field{Name: "doppler_hz", Type: arrow.PrimitiveTypes.Float64}), meta))
		}, want: []string{"data/tables/receptions.parquet: the table has version 2, and this version of fairlobe reads 1", "take a newer version of fairlobe"}},
		"rows out of order": {edit: func(t *testing.T, p parcel) {
			p.edited(t, "dwells", in("session", 0, int64(9)))
		}, want: []string{"data/tables/dwells.parquet:"}},
		"a dwell of another arm": {edit: func(t *testing.T, p parcel) {
			p.edited(t, "dwells", in("arm", 0, "third"))
		}, want: []string{"data/tables/dwells.parquet: row 1:", "is not in the schedule"}},
		"a dwell that never ends": {edit: func(t *testing.T, p parcel) {
			p.edited(t, "dwells", in("end", 3, time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)))
		}, want: []string{"data/tables/dwells.parquet: row 4: its start, settle_end and end"}},
		"dwells that are missing": {edit: func(t *testing.T, p parcel) {
			fields, meta := schemaOf("dwells")
			p.put(t, "dwells", withSchema(fields, meta))
		}, want: []string{"data/tables/dwells.parquet: it has 0 of the 64 dwells"}},
		"a station that is not there": {edit: lastRow("receptions", "station", int64(4000)), want: []string{"data/tables/receptions.parquet: row", "names station 4000"}},
		"a station below nought":      {edit: firstRow("receptions", "station", int64(-1)), want: []string{"data/tables/receptions.parquet: row 1 names station -1"}},
		"stations with a hole":        {edit: lastRow("stations", "number", int64(4000)), want: []string{"data/tables/stations.parquet: row"}},
		"a station off the Earth":     {edit: firstRow("stations", "latitude", 91.0), want: []string{"data/tables/stations.parquet: row 1: it lies nowhere on the Earth"}},
		"a station known by halves":   {edit: firstRow("stations", "position_radius_km", nil), want: []string{"data/tables/stations.parquet: row 1: bearing_deg, distance_km and position_radius_km are known together"}},
		"receptions of no arm":        {edit: lastRow("receptions", "arm", "third"), want: []string{"data/tables/receptions.parquet: row", `there is no arm "third"`}},
		"receptions of no session":    {edit: lastRow("receptions", "session", int64(99)), want: []string{"data/tables/receptions.parquet: row", "its slot lies in no dwell of arm"}},
		"a slot outside the schedule": {edit: lastRow("receptions", "slot", time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)), want: []string{"data/tables/receptions.parquet: row", "its slot lies in no dwell"}},
		"a slot of the year 200000":   {edit: lastRow("receptions", "slot", time.UnixMicro(math.MaxInt64/2)), want: []string{"data/tables/receptions.parquet: row", "its slot lies in no dwell"}},
		"a report that is no number":  {edit: lastRow("receptions", "snr_db", math.NaN()), want: []string{"data/tables/receptions.parquet: row", "has no number in column snr_db"}},
		"a report without an end":     {edit: lastRow("receptions", "snr_db", math.Inf(1)), want: []string{"data/tables/receptions.parquet: row", "has no number in column snr_db"}},
		"a report of 400 dB":          {edit: lastRow("receptions", "snr_db", 400.0), want: []string{"data/tables/receptions.parquet: row", "snr_db = 400 is no report"}},
		"a dither that decides":       {edit: lastRow("receptions", "dither_db", 30.0), want: []string{"data/tables/receptions.parquet: row", "dither_db = 30"}},
		"a power below nought":        {edit: lastRow("receptions", "power_w", -1.0), want: []string{"data/tables/receptions.parquet: row", "power_w = -1"}},
		"a direction that is none":    {edit: lastRow("receptions", "direction", "up\x1b[2J"), want: []string{"data/tables/receptions.parquet: row", `"up\x1b[2J" is no direction`}},
		"cells of no block":           {edit: lastRow("cells", "session", int64(77)), want: []string{"data/tables/cells.parquet: row", "session 77"}},
		"listening to no arm":         {edit: listens("third"), want: []string{"data/tables/listening.parquet: row", `there is no arm "third"`}},
		"a sweep of no arm":           {edit: lastRow("sweeps", "arm", "third"), want: []string{"data/tables/sweeps.parquet: row", `there is no arm "third"`}},
		"a sweep with an SWR of 0":    {edit: lastRow("sweeps", "swr", 0.0), want: []string{"data/tables/sweeps.parquet: row", "an SWR is 1 or more"}},
		"a sweep beyond all numbers":  {edit: lastRow("sweeps", "r_ohm", 1e300), want: []string{"data/tables/sweeps.parquet: row", "has no number in column r_ohm"}},
		"a design with data":          {edit: func(_ *testing.T, p parcel) { delete(p, "standing.json") }, want: []string{"such a file does not belong into a bundle"}},
	}
	for i, name := range slices.Sorted(maps.Keys(cases)) {
		if testing.Short() && i%everyShort > 0 {
			continue
		}
		c := cases[name]
		t.Run(name, func(t *testing.T) {
			p := maps.Clone(ridgeWire())
			switch {
			case c.file != "":
				p[c.file] = c.to(p[c.file])
			default:
				c.edit(t, p)
			}
			if c.file != handover.FilePackage && name != "description is missing" {
				p = p.described(t)
			}
			r, err := p.received()
			require.True(t, r == nil, "nothing is handed out")
			require.Error(t, err)
			for _, want := range c.want {
				require.ErrorContains(t, err, want)
			}
			require.ErrorContains(t, err, "mend: ")
			require.NotContains(t, err.Error(), "\x1b")
		})
	}
	require.Greater(t, len(cases), 40)
}

// otherSeal puts the seal of another demo in the place of the right one.
func otherSeal(t *testing.T, p parcel) {
	exp, list := experiments.Load("../experiments/turned-wire.toml")
	require.NoError(t, list.Err())
	p[handover.FileSeal] = sharedSeal(t, exp, "../experiments/turned-wire.seal.json")
}

func firstRow(name, column string, v any) func(*testing.T, parcel) {
	return func(t *testing.T, p parcel) { p.edited(t, name, in(column, 0, v)) }
}

// lastRow changes the last row, which leaves the rows in order if the value grows.
func lastRow(name, column string, v any) func(*testing.T, parcel) {
	return func(t *testing.T, p parcel) {
		rows, err := table.Rows(p[handover.Parquet(name)])
		require.NoError(t, err)
		require.Positive(t, rows, "the table has rows")
		p.edited(t, name, in(column, int(rows)-1, v))
	}
}

// listens puts one row into table listening, which is empty in the demo.
func listens(arm string) func(*testing.T, parcel) {
	return func(t *testing.T, p parcel) {
		fields, meta := schemaOf("listening")
		m := arrow.MetadataFrom(meta)
		b := table.NewBuilder(arrow.NewSchema(fields, &m))
		b.Append(1, "20m", 1, 1, arm, 0)
		p.put(t, "listening", b.Record())
	}
}

// A design whose seal is of another order is refused; one that was changed since is told.
func TestDesigns(t *testing.T) {
	p := design()
	otherSeal(t, p)
	_, err := p.described(t).received()
	require.ErrorContains(t, err, "data/seal.json: it seals another order than that of the experiment: arm[0]")

	p = design()
	p[handover.FileExperiment] = replaced("power_w = 4", "power_w = 5")(p[handover.FileExperiment])
	r, err := p.described(t).received()
	require.NoError(t, err)
	require.Equal(t, []string{"fixed.power_w: sealed 4, now 5"}, r.Changed)

	p = design()
	delete(p, handover.FileSeal)
	r, err = p.described(t).received()
	require.NoError(t, err)
	require.Nil(t, r.Seal)
	require.False(t, r.SealedBeforeFirstDwell())

	var order bytes.Buffer
	require.NoError(t, schedule.WriteCSV(&order, r.Planned[:1]))
	p[handover.FileSchedule] = order.Bytes()
	_, err = p.described(t).received()
	require.ErrorContains(t, err, "data/schedule.csv:")
}

// What is right is not refused: one more row that any trial may hold.
func TestOneMoreListener(t *testing.T) {
	p := maps.Clone(ridgeWire())
	listens("low")(t, p)
	r, err := p.described(t).received()
	require.NoError(t, err)
	r.Release()
}

// everyShort is of how many cases one is tried with -short.
const everyShort = 5

// Whatever stands in a file of a payload, it is read or refused, and never crashes the reader.
func FuzzReceivedIn(f *testing.F) {
	whole := ridgeWire()
	names := slices.Sorted(maps.Keys(whole))
	for i := range names {
		if testing.Short() && i%everyShort > 0 {
			continue
		}
		f.Add(i, 40, byte(0xff), []byte("x"))
	}
	f.Fuzz(func(t *testing.T, which, at int, flip byte, with []byte) {
		p := maps.Clone(whole)
		name := names[uint(which)%uint(len(names))]
		data := slices.Clone(p[name])
		if at = int(uint(at) % uint(len(data)+1)); at < len(data) {
			data[at] ^= flip
		}
		p[name] = slices.Insert(data, at, with...)
		if name != handover.FilePackage {
			p = p.described(t)
		}
		r, err := p.received()
		if err != nil {
			require.True(t, r == nil)
			return
		}
		r.Release()
	})
}
