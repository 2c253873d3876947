package handover

import (
	"crypto/sha256"
	"fmt"
	"path"
	"slices"
	"strings"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"

	"fairlobe/pipeline/table"
)

// File is one file of a payload.
type File struct {
	Name string
	Data []byte
}

// About is what a data package says of itself.
type About struct {
	Name, Title, Description string
	Created                  time.Time // from the data
	Licence                  *Licence  // nil: none was named
}

// The form of datapackage.json: Frictionless Data, Data Package and Table Schema, version 1.
type (
	dataPackage struct {
		Profile     string     `json:"profile"`
		Name        string     `json:"name"`
		Title       string     `json:"title"`
		Description string     `json:"description,omitempty"`
		Created     string     `json:"created"`
		Licences    []Licence  `json:"licenses,omitempty"`
		Resources   []resource `json:"resources"`
	}
	resource struct {
		Profile     string       `json:"profile"`
		Name        string       `json:"name"`
		Title       string       `json:"title,omitempty"`
		Path        string       `json:"path"`
		Format      string       `json:"format"`
		MediaType   string       `json:"mediatype"`
		Encoding    string       `json:"encoding,omitempty"`
		Bytes       int          `json:"bytes"`
		Hash        string       `json:"hash"`
		Licences    []Licence    `json:"licenses,omitempty"`
		Description string       `json:"description,omitempty"`
		Schema      *tableSchema `json:"schema,omitempty"`
	}
	tableSchema struct {
		Fields        []tableField `json:"fields"`
		MissingValues []string     `json:"missingValues"`
		ForeignKeys   []foreignKey `json:"foreignKeys,omitempty"`
	}
	tableField struct {
		Name        string       `json:"name"`
		Type        string       `json:"type"`
		Format      string       `json:"format,omitempty"`
		Description string       `json:"description,omitempty"`
		Unit        string       `json:"unit,omitempty"`
		Constraints *constraints `json:"constraints,omitempty"`
	}
	constraints struct {
		Required bool `json:"required"`
	}
	foreignKey struct {
		Fields    string    `json:"fields"`
		Reference reference `json:"reference"`
	}
	reference struct {
		Resource string `json:"resource"`
		Fields   string `json:"fields"`
	}
)

// formats gives format and media type by the ending of a file's name.
var formats = map[string][2]string{
	".csv": {"csv", "text/csv"}, ".parquet": {"parquet", "application/vnd.apache.parquet"}, ".json": {"json", "application/json"},
	".toml": {"toml", "application/toml"}, ".html": {"html", "text/html"},
}

// titles say what the files are that are no tables of the run.
var titles = map[string]string{
	FileExperiment: "The experiment: question, station, arms, schedule, claims", FileSeal: "What was fixed before the data, and when",
	FileLooks: "How often the data were looked at", FileSwitches: "The switch log, without notes", FileSchedule: "The planned dwells",
	FileVerdicts: "What was found for each claim",
	FilePage:     "The report, to be read in a browser", FileManifest: "What was read and written, with SHA-256",
	FileOrigin: "The experiment that this one repeats",
	FileTrial:  "What the switch log made of the trial", FileIntake: "Where the rows of the input files went",
	FileStanding: "State of the seal and number of looks",
}

// DataPackage writes datapackage.json: a resource for each file, in the order of their names; tables, by their names, have a
// schema with units and comments.
func DataPackage(about About, files []File, tables map[string]arrow.Record) ([]byte, error) {
	p := dataPackage{Profile: "data-package", Name: strings.ToLower(about.Name), Title: about.Title, Description: about.Description,
		Created: about.Created.UTC().Format(time.RFC3339)}
	if about.Licence != nil {
		p.Licences = []Licence{*about.Licence}
	}
	for _, f := range slices.SortedFunc(slices.Values(files), func(a, b File) int { return strings.Compare(a.Name, b.Name) }) {
		kind, known := formats[path.Ext(f.Name)]
		if !known {
			return nil, fmt.Errorf("describing the bundle: %s has an unknown format", f.Name)
		}
		r := resource{Profile: "data-resource", Name: path.Base(f.Name), Title: titles[f.Name], Path: f.Name, Format: kind[0], MediaType: kind[1],
			Bytes: len(f.Data), Hash: fmt.Sprintf("sha256:%x", sha256.Sum256(f.Data)), Licences: p.Licences}
		if kind[0] != "parquet" {
			r.Encoding = "utf-8"
		}
		name := strings.TrimSuffix(path.Base(f.Name), path.Ext(f.Name))
		if rec := tables[name]; rec != nil && path.Dir(f.Name) == "tables" {
			r.Schema = schemaOf(rec, path.Ext(f.Name))
			r.Title = "Table " + name
			if kind[0] == "csv" {
				r.Profile = "tabular-data-resource"
			}
		}
		p.Resources = append(p.Resources, r)
	}
	return encode(p)
}

func schemaOf(rec arrow.Record, ending string) *tableSchema {
	s := &tableSchema{MissingValues: []string{""}}
	for i, f := range rec.Schema().Fields() {
		t := tableField{Name: f.Name, Description: of(f, table.MetaComment), Unit: of(f, table.MetaUnit)}
		t.Type, t.Format = typeOf(rec.Column(i))
		if !f.Nullable && !holdsEmpty(rec.Column(i)) {
			t.Constraints = &constraints{Required: true}
		}
		if f.Name == "station" {
			s.ForeignKeys = append(s.ForeignKeys, foreignKey{f.Name, reference{"stations" + ending, "number"}})
		}
		s.Fields = append(s.Fields, t)
	}
	return s
}

func of(f arrow.Field, key string) string {
	if i := f.Metadata.FindKey(key); i >= 0 {
		return f.Metadata.Values()[i]
	}
	return ""
}

// typeOf gives type and format of a column. The usual format of a time has whole seconds.
func typeOf(col arrow.Array) (kind, format string) {
	switch c := col.(type) {
	case *array.Boolean:
		return "boolean", ""
	case *array.Int64, *array.Int32:
		return "integer", ""
	case *array.Float64:
		return "number", ""
	case *array.Timestamp:
		for i := range c.Len() {
			if c.IsValid(i) && int64(c.Value(i))%1_000_000 != 0 {
				return "datetime", "any"
			}
		}
		return "datetime", "default"
	}
	return "string", ""
}

// holdsEmpty tells whether a column of texts holds an empty one, which in CSV can't be told from a missing value.
func holdsEmpty(col arrow.Array) bool {
	texts, ok := col.(*array.String)
	if !ok {
		return false
	}
	for i := range texts.Len() {
		if texts.IsValid(i) && texts.Value(i) == "" {
			return true
		}
	}
	return false
}
