package experiments

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/pelletier/go-toml/v2/unstable"

	"fairlobe/pipeline/diag"
)

// planter grows the tree of places from the expressions of a file.
type planter struct {
	file   string
	text   []byte
	parser unstable.Parser
	starts []int // offset of each line
	root   *node
	table  *node // the table whose [header] was read last
	depth  int   // lists and inline tables around the value
	err    error // the first fault inside a value
}

// plant gives the tree of keys with their places; values are filled in later. The text is known to be TOML, so
// a clash of keys is an error of the reader and not a fault of the file.
func plant(file, rootPath string, text []byte) (*node, error) {
	p := &planter{file: file, text: text, starts: []int{0}}
	for i, b := range text {
		if b == '\n' {
			p.starts = append(p.starts, i+1)
		}
	}
	p.root = newTable(rootPath, p.pos(0))
	p.table = p.root
	p.parser.Reset(text)
	for p.parser.NextExpression() {
		if err := p.expression(p.parser.Expression()); err != nil {
			return nil, err
		}
		if p.err != nil {
			return nil, p.err
		}
	}
	if err := p.parser.Error(); err != nil {
		return nil, p.stopped(err)
	}
	return p.root, nil
}

func (p *planter) stopped(err error) error {
	var pe *unstable.ParserError
	if !errors.As(err, &pe) {
		return err
	}
	return placed(p.pos(int(p.parser.Range(pe.Highlight).Offset)), pe.Message)
}

// pos turns an offset into line and column, by bisection of the starts of lines.
func (p *planter) pos(offset int) diag.Pos {
	lo, hi := 0, len(p.starts)
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; p.starts[mid] <= offset {
			lo = mid
		} else {
			hi = mid
		}
	}
	return diag.Pos{File: p.file, Line: lo + 1, Column: offset - p.starts[lo] + 1}
}

func (p *planter) expression(e *unstable.Node) error {
	var err error
	switch e.Kind {
	case unstable.Table:
		p.table, err = p.header(e, false)
	case unstable.ArrayTable:
		p.table, err = p.header(e, true)
	default:
		err = p.keyValue(p.table, e)
	}
	return err
}

// header goes to the table of a [header]; a list of tables on the way stands for its last table.
func (p *planter) header(e *unstable.Node, list bool) (*node, error) {
	names, places, err := p.keys(e)
	if err != nil {
		return nil, err
	}
	at, last := p.root, len(names)-1
	for i, name := range names[:last] {
		if at, err = p.descend(at, name, places[i]); err != nil {
			return nil, err
		}
	}
	if !list {
		return p.descend(at, names[last], places[last])
	}
	c := at.child(names[last])
	if c == nil {
		c = &node{path: join(at.path, names[last]), kind: aList, key: places[last], at: places[last]}
		at.add(names[last], c)
	}
	if c.kind != aList {
		return nil, placed(places[last], "a table and a list of one name")
	}
	item := newTable(fmt.Sprintf("%s[%d]", c.path, len(c.items)), places[last])
	c.items = append(c.items, item)
	return item, nil
}

// descend goes into the table of a name, which it makes if there is none.
func (p *planter) descend(at *node, name string, pos diag.Pos) (*node, error) {
	c := at.child(name)
	if c == nil {
		c = newTable(join(at.path, name), pos)
		at.add(name, c)
	}
	if c.kind == aList && len(c.items) > 0 {
		c = c.items[len(c.items)-1]
	}
	if c.kind != aTable {
		return nil, placed(pos, c.path+" is no table")
	}
	return c, nil
}

// maxDepth is the most parts of a dotted key, and the most lists and tables within one another; known keys need 4.
const maxDepth = 16

func tooDeepAt(pos diag.Pos) error {
	err := placed(pos, fmt.Sprintf("more than %d tables or lists within one another", maxDepth))
	err.deep = true
	return err
}

// keys gives the parts of a dotted key and the place of each.
func (p *planter) keys(e *unstable.Node) (names []string, places []diag.Pos, err error) {
	for it := e.Key(); it.Next(); {
		k := it.Node()
		names = append(names, string(k.Data))
		places = append(places, p.pos(int(k.Raw.Offset)))
	}
	if len(names) > maxDepth {
		return nil, nil, tooDeepAt(places[0])
	}
	return names, places, nil
}

func (p *planter) keyValue(table *node, e *unstable.Node) error {
	names, places, err := p.keys(e)
	if err != nil {
		return err
	}
	last := len(names) - 1
	for i, name := range names[:last] {
		if table, err = p.descend(table, name, places[i]); err != nil {
			return err
		}
	}
	whole := string(p.parser.Raw(e.Raw))
	start := int(e.Raw.Offset) + p.valueStart(e)
	v := p.value(join(table.path, names[last]), e.Value(), start)
	v.key, v.raw = places[last], whole[start-int(e.Raw.Offset):]
	table.add(names[last], v)
	return nil
}

// valueStart gives the offset of the value within key = value: behind the first = after the last key part.
func (p *planter) valueStart(e *unstable.Node) int {
	raw := p.parser.Raw(e.Raw)
	from := 0
	for it := e.Key(); it.Next(); {
		k := it.Node().Raw
		from = int(k.Offset+k.Length) - int(e.Raw.Offset)
	}
	from += bytes.IndexByte(raw[from:], '=') + 1
	return from + len(raw[from:]) - len(bytes.TrimLeft(raw[from:], " \t"))
}

var kinds = map[unstable.Kind]kind{
	unstable.String: aText, unstable.Integer: anInteger, unstable.Float: aFloat, unstable.Bool: aBool,
	unstable.DateTime: aTime, unstable.LocalDateTime: aLocalTime, unstable.LocalDate: aLocalTime,
	unstable.LocalTime: aLocalTime, unstable.Array: aList, unstable.InlineTable: aTable,
}

// value makes the node of a value that starts at an offset of the text.
func (p *planter) value(path string, v *unstable.Node, start int) *node {
	n := &node{path: path, kind: kinds[v.Kind], key: p.pos(start), at: p.pos(start)}
	if p.depth++; p.depth > maxDepth && p.err == nil {
		p.err = tooDeepAt(n.at)
	}
	defer func() { p.depth-- }()
	if p.err != nil {
		return n
	}
	switch n.kind {
	case aTable:
		n.named = map[string]*node{}
		for it := v.Children(); it.Next(); {
			if err := p.keyValue(n, it.Node()); err != nil && p.err == nil {
				p.err = err
			}
		}
	case aList:
		for it := v.Children(); it.Next(); {
			c := it.Node()
			item := p.value(fmt.Sprintf("%s[%d]", path, len(n.items)), c, p.itemStart(c, start))
			n.items = append(n.items, item)
		}
	default:
		n.raw = string(p.parser.Raw(v.Raw))
	}
	return n
}

// itemStart finds the offset of an item of a list; lists within lists carry no place of their own, so they
// get that of their first item, else of the whole list.
func (p *planter) itemStart(c *unstable.Node, start int) int {
	switch c.Kind {
	case unstable.Array:
		if first := c.Child(); first.Valid() {
			return p.itemStart(first, start)
		}
		return start
	default:
		return int(c.Raw.Offset)
	}
}
