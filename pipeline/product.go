package pipeline

import (
	"encoding/json"
	"fmt"
	"sync"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/store"
	"fairlobe/pipeline/table"
)

// product is one output that exists. Its bytes are in memory or, until somebody asks, in the store.
type product struct {
	output Output
	digest string // content: of a table its logical digest, of a file "sha256:" and its SHA-256
	sum    string // SHA-256 of the bytes
	size   int64

	mu   sync.Mutex
	data []byte // nil: not loaded
	from *store.Store
}

func (p *product) bytes() ([]byte, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.data == nil && p.size > 0 {
		data, err := p.from.Read(p.sum)
		if err != nil {
			return nil, fmt.Errorf("output %s has gone from the store during the run, run again: %w", p.output.Name, err)
		}
		p.data = data
	}
	return p.data, nil
}

func (p *product) table(mem memory.Allocator) (arrow.Record, error) {
	if p.output.Schema == nil {
		return nil, fmt.Errorf("output %s is a file, not a table", p.output.Name)
	}
	data, err := p.bytes()
	if err != nil {
		return nil, err
	}
	rec, err := table.Decode(mem, data, p.output.Schema)
	if err != nil {
		return nil, fmt.Errorf("output %s: %w", p.output.Name, err)
	}
	return rec, nil
}

// made is what one stage made: its products in the order of Makes, and its notes as they are stored.
type made struct {
	products []*product
	notes    diag.List
}

// storedNotes stand beside the outputs in the store.
type storedNotes struct {
	Digests map[string]string `json:"digests"`
	Notes   diag.List         `json:"notes,omitempty"`
}

// collect checks a stage's result against what the stage declared, and makes bytes of it.
func collect(s Stage, res *Result) (*made, error) {
	if res == nil {
		return nil, fmt.Errorf("it gave no result")
	}
	if err := res.Notes.Err(); err != nil {
		return nil, err
	}
	if n := len(res.Tables) + len(res.Files); n != len(s.Makes) {
		return nil, fmt.Errorf("it made %d outputs and declared %d", n, len(s.Makes))
	}
	m := &made{}
	for _, o := range s.Makes {
		p, err := newProduct(o, res)
		if err != nil {
			return nil, fmt.Errorf("output %s: %w", o.Name, err)
		}
		m.products = append(m.products, p)
	}
	var err error
	m.notes, err = asStored(res.Notes)
	return m, err
}

// asStored sends notes through their stored form, so that they read the same now as from the store
// (JSON replaces bytes that are not UTF-8).
func asStored(notes diag.List) (diag.List, error) {
	text, err := json.Marshal(notes)
	if err != nil {
		return nil, err
	}
	var out diag.List
	err = json.Unmarshal(text, &out)
	return out, err
}

func newProduct(o Output, res *Result) (*product, error) {
	if o.Schema == nil {
		data, ok := res.Files[o.Name]
		if !ok {
			return nil, fmt.Errorf("declared as a file, not made as one")
		}
		return &product{output: o, digest: "sha256:" + store.Sum(data), sum: store.Sum(data), size: int64(len(data)), data: data}, nil
	}
	rec, ok := res.Tables[o.Name]
	if !ok {
		return nil, fmt.Errorf("declared as a table, not made as one")
	}
	return tableProduct(o, rec)
}

func tableProduct(o Output, rec arrow.Record) (*product, error) {
	full, err := table.WithSchema(rec, o.Schema)
	if err != nil {
		return nil, err
	}
	defer full.Release()
	if err := table.CheckSorted(full, table.SortKeys(o.Schema)); err != nil {
		return nil, err
	}
	data, err := table.Encode(full)
	if err != nil {
		return nil, err
	}
	return &product{output: o, digest: table.Digest(full), sum: store.Sum(data), size: int64(len(data)), data: data}, nil
}

// put writes what was made into the store.
func (m *made) put(st *store.Store, key, preimage string) error {
	outputs := map[string][]byte{}
	notes := storedNotes{Digests: map[string]string{}, Notes: m.notes}
	for _, p := range m.products {
		outputs[p.output.Name] = p.data
		notes.Digests[p.output.Name] = p.digest
	}
	text, err := json.Marshal(notes)
	if err != nil {
		return err
	}
	return st.Put(key, preimage, outputs, text)
}

// fromStore gives what an earlier run stored under the key; the reason says why it is not usable.
func fromStore(st *store.Store, s Stage, key string) (m *made, reason string) {
	entry, ok, reason := st.Get(key)
	if !ok {
		return nil, reason
	}
	var notes storedNotes
	if err := json.Unmarshal(entry.Notes, &notes); err != nil {
		return nil, "the entry's notes can't be read"
	}
	m = &made{notes: notes.Notes}
	for _, o := range s.Makes {
		obj, ok := entry.Outputs[o.Name]
		digest := notes.Digests[o.Name]
		if !ok || digest == "" {
			return nil, fmt.Sprintf("the entry lacks output %s", o.Name)
		}
		m.products = append(m.products, &product{output: o, digest: digest, sum: obj.SHA256, size: obj.Bytes, from: st})
	}
	return m, ""
}
