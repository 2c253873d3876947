package experiments

import (
	"fmt"
	"strconv"
	"strings"
)

// Reference gives the plain-text reference of all keys of an experiment file, made from the table that reads
// and checks them. Lines have at most 100 characters.
func Reference() string {
	var b strings.Builder
	b.WriteString("The experiment file: TOML, UTF-8, at most 1 MiB. Keys carry their unit. Times are UTC with a Z.\n" +
		"Names of files have / between folders and may not leave their folder.\n")
	table, first := "", true
	for _, k := range knownKeys() {
		if t := section(k); t == "arm[]" && k.name() != "name" && k.name() != "other" {
			continue // printed once, with [fixed]
		}
		if t := section(k); t != table || first {
			table, first = t, false
			fmt.Fprintf(&b, "\n%s\n", sectionTitle(table))
		}
		writeKey(&b, k)
	}
	return b.String()
}

// section is the table under which a key is printed; parts of a variable go with the variable.
func section(k key) string {
	for _, table := range []string{"fixed", "arm[]"} {
		rest, ok := strings.CutPrefix(k.path, table+".")
		name, _, _ := strings.Cut(strings.ReplaceAll(rest, "[]", ""), ".")
		if ok && isVariable(name) {
			return map[string]string{"fixed": "variables", "arm[]": "arm[]"}[table]
		}
	}
	table := k.table()
	for _, inner := range []string{"station.ground", "schedule.breaks[]", "schedule.sessions[]"} {
		if table == inner {
			table, _, _ = strings.Cut(inner, ".")
		}
	}
	return table
}

func isVariable(name string) bool {
	for _, k := range variableKeys() {
		if k.path == name {
			return true
		}
	}
	return false
}

func sectionTitle(table string) string {
	switch {
	case table == "":
		return "Above all tables"
	case table == "variables":
		return "[fixed] or every [[arm]], not both: the typed variables"
	case strings.HasSuffix(table, ".columns"):
		return "columns of " + heading(strings.TrimSuffix(table, ".columns")) +
			": the name of a column, or { column = \"x\", unit = \"Hz\" }, or { value = \"...\" }"
	case strings.HasSuffix(table, "[]"):
		return heading(table)
	default:
		return "[" + table + "]"
	}
}

func writeKey(b *strings.Builder, k key) {
	name := strings.TrimPrefix(k.path, section(k)+".")
	if section(k) == "variables" {
		name = strings.TrimPrefix(k.path, "fixed.")
	}
	name = strings.ReplaceAll(name, "[]", "")
	wrap(b, "  ", "        ", name+": "+facts(k))
	wrap(b, "      ", "      ", strings.ToUpper(k.doc[:1])+k.doc[1:]+".")
	if k.words != nil {
		wrap(b, "      ", "      ", wordsOpening(k)+quotedList(k.words)+".")
	}
	if k.example != inTables {
		fmt.Fprintf(b, "      %s = %s\n", k.name(), k.example)
	}
}

// facts are the form, unit, limits and need of a key.
func facts(k key) string {
	parts := []string{kindWords(k)}
	if k.open && k.kind&aText != 0 {
		parts = []string{map[bool]string{true: "two columns", false: "a column"}[strings.HasSuffix(k.path, "_position")]}
		if k.path == "spots[].columns.time" {
			parts = []string{"a column or two"}
		}
	}
	if k.unit != "" {
		parts = append(parts, k.unit)
	}
	if k.span != nil {
		parts = append(parts, k.span.String())
	}
	switch {
	case k.need == required:
		parts = append(parts, "required")
	case k.or != "":
		parts = append(parts, k.or)
	case k.def != nil:
		parts = append(parts, "default: "+defaultText(k.def))
	}
	return strings.Join(parts, "; ")
}

// defaultText writes a default as it would stand in a file.
func defaultText(def any) string {
	switch v := def.(type) {
	case string:
		return strconv.Quote(v)
	case float64:
		return plain(v)
	case bool:
		return strconv.FormatBool(v)
	default:
		return "[]"
	}
}

// wordsOpening begins the line of allowed words.
func wordsOpening(k key) string {
	if k.kind&aNumber != 0 {
		return "The text may be "
	}
	return "One of "
}

// wrap writes words in lines of at most 100 characters; lines after the first have an indent of their own.
func wrap(b *strings.Builder, indent, next, text string) {
	line := indent
	for _, word := range strings.Fields(text) {
		if len(line)+len(word) > 100 && strings.TrimSpace(line) != "" {
			b.WriteString(strings.TrimRight(line, " ") + "\n")
			line = next
		}
		line += word + " "
	}
	b.WriteString(strings.TrimRight(line, " ") + "\n")
}
