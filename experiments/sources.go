package experiments

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

func (d *decoder) spots() {
	for _, t := range d.tables(d.root, "spots") {
		s := SpotSource{Files: d.strs(t, "spots[].files"), Format: d.str(t, "spots[].format"), SeenFrom: d.str(t, "spots[].seen_from"),
			Role: d.str(t, "spots[].role"), TimeIs: d.str(t, "spots[].time_is")}
		d.onlyWith(t, "seen_from", "spots[].seen_from", s.Format, "adif")
		s.Table = d.tableForm(t, "spots", s.Format, spotColumns)
		if s.Format == "table" {
			s.Table.TimeLayout = d.timeLayout(t, s.Table)
			d.spotColumnsComplete(t, s.Table)
		}
		d.e.Spots = append(d.e.Spots, s)
	}
	if d.root.child("spots") == nil && slices.ContainsFunc(d.e.Claims, func(c Claim) bool { return c.Kind != "match" }) {
		d.warn("no_spots", d.root.key, "the file has no [[spots]], so that no report will be read",
			"add a table [[spots]] that names where reports will be found")
	}
}

// onlyWith checks a key that is required with one format and not used with the others.
func (d *decoder) onlyWith(t *node, name, path, format, wants string) {
	n := t.child(name)
	switch {
	case format == wants && n == nil:
		d.missing(t, d.keys[path], fmt.Sprintf("with format = %q", wants))
	case format != wants && format != "" && n != nil:
		related := t.child("format")
		if related == nil {
			related = t
		}
		d.fault(n.key, fmt.Sprintf("%s has no meaning with format = %q", name, format), "delete it, or write format = \""+wants+"\"", related.at)
	}
}

func (d *decoder) tableForm(t *node, source, format string, names []left) TableForm {
	d.onlyWith(t, "columns", source+"[].columns", format, "table")
	for _, name := range []string{"delimiter", "header", "time_layout"} {
		if t.child(name) != nil && format != "table" {
			d.onlyWith(t, name, source+"[].columns", format, "table")
		}
	}
	if format != "table" {
		return TableForm{}
	}
	f := TableForm{Header: d.flag(t, source+"[].header"), Columns: map[string]Column{}}
	if delimiter := d.str(t, source+"[].delimiter"); delimiter != "" {
		f.Delimiter = delimiter[0]
	}
	columns := t.in("columns")
	for _, l := range names {
		if n := columns.child(l.name); n != nil && !n.bad {
			if c, ok := d.column(n, l, f.Header); ok {
				f.Columns[l.name] = c
			}
		}
	}
	return f
}

// column reads one form of a column: "name", 3, ["day", "clock"], { column = "x", unit = "Hz" } or { value = "..." }.
func (d *decoder) column(n *node, l left, header bool) (Column, bool) {
	if n.kind == aTable {
		return d.columnTable(n, l, header)
	}
	names, ok := d.columnNames(n, l, header)
	return Column{Columns: names}, ok
}

func (d *decoder) columnNames(n *node, l left, header bool) ([]string, bool) {
	items := []*node{n}
	if n.kind == aList {
		items = n.items
	}
	pair := strings.HasSuffix(l.name, "_position")
	if pair && len(items) != 2 || len(items) < 1 || len(items) > l.most {
		d.refuse(n, fmt.Sprintf("%s wants %s", l.name, howMany(pair, l.most)), l.suggestion(header))
		return nil, false
	}
	var names []string
	for _, item := range items {
		name, ok := d.columnName(item, l, header)
		if !ok {
			n.bad = true
			return nil, false
		}
		names = append(names, name)
	}
	return names, true
}

func howMany(pair bool, most int) string {
	switch {
	case pair:
		return "two columns, latitude and longitude"
	case most == 2:
		return "one or two columns"
	default:
		return "one column"
	}
}

func (d *decoder) columnName(n *node, l left, header bool) (string, bool) {
	switch v := n.value.(type) {
	case string:
		if !header {
			number := 1
			if written, err := strconv.Atoi(strings.TrimSpace(v)); err == nil && written >= 1 {
				number = written
			}
			d.refuse(n, fmt.Sprintf("%s = %s is a name, and header = false says that the columns have none", l.name, n.shown()),
				fmt.Sprintf("give the number of the column, from 1, for example %s = %d", l.name, number))
			return "", false
		}
		if name := strings.TrimSpace(v); name != "" && !strings.ContainsFunc(name, forbidden(key{})) {
			return name, true
		}
	case int64:
		if header {
			d.refuse(n, fmt.Sprintf("%s = %s is a number, and the file has a header", l.name, n.shown()),
				"give the name of the column in quotation marks, or write header = false")
			return "", false
		}
		if v >= 1 && v <= 10000 {
			return strconv.FormatInt(v, 10), true
		}
	}
	d.refuse(n, fmt.Sprintf("%s = %s names no column", l.name, n.shown()), l.suggestion(header))
	return "", false
}

func (d *decoder) columnTable(n *node, l left, header bool) (Column, bool) {
	for _, name := range n.names {
		if !slices.Contains([]string{"column", "unit", "value"}, name) {
			d.fault(n.named[name].key, fmt.Sprintf("unknown key %q in columns.%s", printable(name), l.name), "its keys are column and unit, or value")
			n.bad = true
		}
	}
	column, unit, value := n.child("column"), n.child("unit"), n.child("value")
	switch {
	case n.bad:
	case column == nil && value == nil:
		d.refuse(n, fmt.Sprintf("%s has neither column nor value", l.name), fmt.Sprintf("write %s = { column = \"...\" }", l.name))
	case column != nil && value != nil:
		d.refuse(value, fmt.Sprintf("%s has column and value", l.name), "delete one of the two", column.key)
	case value != nil:
		return d.constant(value, unit, l)
	default:
		names, ok := d.columnNames(column, l, header)
		u, good := d.unit(unit, l)
		return Column{Columns: names, Unit: u}, ok && good
	}
	return Column{}, false
}

// unit checks the unit of a column; "" stands for that of the name.
func (d *decoder) unit(n *node, l left) (string, bool) {
	if n == nil {
		return "", true
	}
	if l.units == nil {
		d.refuse(n, fmt.Sprintf("%s takes no unit", l.name), "delete unit")
		return "", false
	}
	one := key{path: "unit", kind: aText, words: l.units, doc: "the unit of the column", example: strconv.Quote(l.units[0])}
	if d.value(n, one); n.bad {
		return "", false
	}
	return n.value.(string), true
}

// constant reads one value for every row.
func (d *decoder) constant(n, unit *node, l left) (Column, bool) {
	if n.kind&(aText|aNumber) == 0 {
		d.refuse(n, fmt.Sprintf("value of %s wants a text, not %s", l.name, n.called()), fmt.Sprintf("write %s = { value = \"...\" }", l.name))
		return Column{}, false
	}
	text := strings.TrimSpace(strings.Trim(n.raw, `"'`))
	if s, ok := n.value.(string); ok {
		text = strings.TrimSpace(s)
	}
	switch l.name {
	case "frequency_mhz", "snr_db", "power_w", "slot_s":
		if v, err := strconv.ParseFloat(text, 64); err != nil || v != v {
			d.refuse(n, fmt.Sprintf("value = %s of %s is no number", n.shown(), l.name), "give a number in quotation marks, with a decimal point")
			return Column{}, false
		}
	case "band":
		if !slices.Contains(bandNames(), text) {
			d.wrongWord(n, key{path: "value", words: bandNames()}, text)
			return Column{}, false
		}
	}
	u, ok := d.unit(unit, l)
	return Column{Value: &text, Unit: u}, ok
}

// timeTokens are the parts of a layout of times; all but the seconds are required.
var timeTokens = []string{"YYYY", "MM", "DD", "hh", "mm", "ss"}

func (d *decoder) timeLayout(t *node, f TableForm) string {
	layout, n := d.str(t, "spots[].time_layout"), t.child("time_layout")
	named := slices.Contains([]string{"rfc3339", "unix", "unix_ms"}, layout)
	if n != nil && !n.bad && !named {
		for _, token := range timeTokens {
			if count := strings.Count(layout, token); count > 1 || count == 0 && token != "ss" {
				d.refuse(n, fmt.Sprintf("time_layout = %s has %s %d times", n.shown(), token, count),
					`write time_layout = "rfc3339", "unix", "unix_ms" or a layout such as "YYYY-MM-DD hh:mm:ss"`)
				return ""
			}
		}
	}
	if len(f.Columns["time"].Columns) == 2 && named {
		columns := t.in("columns").child("time")
		d.fault(columns.at, fmt.Sprintf("time comes from two columns, and time_layout = %q is one text", layout),
			`give a layout of both with a blank between them, for example time_layout = "YYYY-MM-DD hh:mm:ss"`)
	}
	return layout
}

// spotColumnsComplete finds left-hand names without which no row can be used.
func (d *decoder) spotColumnsComplete(t *node, f TableForm) {
	columns := t.in("columns")
	if columns == nil {
		return
	}
	for _, name := range []string{"time", "transmitter", "receiver", "snr_db"} {
		if columns.child(name) == nil {
			d.columnMissing(columns, name, spotColumns, f.Header)
		}
	}
	if columns.child("band") == nil && columns.child("frequency_mhz") == nil {
		d.fault(columns.key, "columns has neither band nor frequency_mhz", `name one of them, for example band = "band"`)
	}
}

func (d *decoder) columnMissing(columns *node, name string, names []left, header bool) {
	i := slices.IndexFunc(names, func(l left) bool { return l.name == name })
	d.fault(columns.key, "columns has no "+name, names[i].suggestion(header))
}

func (d *decoder) sweeps() {
	for _, t := range d.tables(d.root, "sweeps") {
		s := SweepSource{Arm: d.str(t, "sweeps[].arm"), Files: d.strs(t, "sweeps[].files"),
			Format: d.str(t, "sweeps[].format"), At: d.str(t, "sweeps[].at")}
		s.Z0Ohm, _ = d.num(t, "sweeps[].z0_ohm")
		s.Table = d.tableForm(t, "sweeps", s.Format, sweepColumns)
		if s.Format == "table" {
			d.sweepColumnsComplete(t.in("columns"), s.Table.Header)
		}
		if n := t.child("arm"); n != nil && !n.bad && d.armKnown(n, s.Arm, n.at) {
		}
		d.e.Sweeps = append(d.e.Sweeps, s)
	}
	d.matchHasSweeps()
}

func (d *decoder) sweepColumnsComplete(columns *node, header bool) {
	if columns == nil {
		return
	}
	if columns.child("frequency_mhz") == nil {
		d.columnMissing(columns, "frequency_mhz", sweepColumns, header)
	}
	r, x := columns.child("r_ohm"), columns.child("x_ohm")
	if columns.child("swr") == nil && columns.child("return_loss_db") == nil && (r == nil || x == nil) {
		d.fault(columns.key, "columns has none of swr, return_loss_db, and r_ohm with x_ohm", `name one of them, for example swr = "SWR"`)
	}
}

// matchHasSweeps warns of match claims on arms without a sweep.
func (d *decoder) matchHasSweeps() {
	for i, t := range d.tables(d.root, "claim") {
		if d.e.Claims[i].Kind != "match" {
			continue
		}
		for _, arm := range d.e.Claims[i].Arms {
			if !slices.ContainsFunc(d.e.Sweeps, func(s SweepSource) bool { return s.Arm == arm }) {
				d.warn("no_sweeps", t.child("arms").at, fmt.Sprintf("no [[sweeps]] names a sweep of the arm %q", arm),
					"add a table [[sweeps]] with this arm and its files")
			}
		}
	}
}
