package pipeline

import (
	"encoding"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// preimage gives the text whose SHA-256 is the stage's key: one fact on each line, labelled, texts
// quoted. needs and sources give the content digest of a name.
func preimage(s Stage, salt string, needs, sources func(name string) string) (string, error) {
	var b strings.Builder
	b.WriteString("pipeline key 2\n")
	fmt.Fprintf(&b, "tool %q\n", salt)
	fmt.Fprintf(&b, "stage %q\n", s.Name)
	fmt.Fprintf(&b, "version %d\n", s.Version)
	if err := writeParams(&b, s.Params); err != nil {
		return "", err
	}
	for _, o := range s.Makes {
		fmt.Fprintf(&b, "output %q %s\n", o.Name, outputForm(o))
	}
	for _, n := range s.Needs {
		fmt.Fprintf(&b, "need %q %s\n", n, needs(n))
	}
	for _, src := range s.Sources {
		fmt.Fprintf(&b, "source %q %s\n", src.Name, sources(src.Name))
	}
	return b.String(), nil
}

// outputForm gives all that the schema puts into a stored table besides the values, units and
// comments included, on one line.
func outputForm(o Output) string {
	if o.Schema == nil {
		return "file"
	}
	var b strings.Builder
	b.WriteString("table")
	md := o.Schema.Metadata()
	for i, k := range md.Keys() {
		fmt.Fprintf(&b, " %q=%q", k, md.Values()[i])
	}
	for _, f := range o.Schema.Fields() {
		fmt.Fprintf(&b, "; %q %s null=%t", f.Name, f.Type, f.Nullable)
		for i, k := range f.Metadata.Keys() {
			fmt.Fprintf(&b, " %q=%q", k, f.Metadata.Values()[i])
		}
	}
	return b.String()
}

// writeParams writes the parameters, one line for each value, in the order of the fields: "param Files[0].Name \"a\"".
// It refuses whatever JSON would leave out or write alike for different values: unexported or hidden fields, functions,
// interfaces, embedded structs, texts that are not UTF-8.
func writeParams(b *strings.Builder, params any) error {
	if params == nil {
		return nil
	}
	v := reflect.ValueOf(params)
	for v.Kind() == reflect.Pointer && !v.IsNil() {
		v = v.Elem()
	}
	if v.Kind() != reflect.Struct {
		return fmt.Errorf("params are a %s, wanted a plain struct", v.Kind())
	}
	if err := checkParams(v, "params", 0); err != nil {
		return err
	}
	return writeParam(b, "", v)
}

// writeParam takes only what checkParams has let pass.
func writeParam(b *strings.Builder, at string, v reflect.Value) error {
	switch t := v.Type(); {
	case t.Implements(jsonMarshaler) || t.Implements(textMarshaler):
	case v.Kind() == reflect.Struct && v.NumField() > 0:
		for i := range v.NumField() {
			if err := writeParam(b, strings.TrimPrefix(at+"."+t.Field(i).Name, "."), v.Field(i)); err != nil {
				return err
			}
		}
		return nil
	case (v.Kind() == reflect.Slice || v.Kind() == reflect.Array) && v.Len() > 0 && t.Elem().Kind() != reflect.Uint8:
		for i := range v.Len() {
			if err := writeParam(b, at+"["+strconv.Itoa(i)+"]", v.Index(i)); err != nil {
				return err
			}
		}
		return nil
	case v.Kind() == reflect.Map && v.Len() > 0:
		keys := v.MapKeys()
		slices.SortFunc(keys, func(a, b reflect.Value) int { return strings.Compare(a.String(), b.String()) })
		for _, k := range keys {
			if err := writeParam(b, at+"["+strconv.Quote(k.String())+"]", v.MapIndex(k)); err != nil {
				return err
			}
		}
		return nil
	case v.Kind() == reflect.Pointer && !v.IsNil():
		return writeParam(b, at, v.Elem())
	}
	text, err := json.Marshal(v.Interface())
	if err != nil {
		return fmt.Errorf("params.%s: %w", at, err)
	}
	fmt.Fprintf(b, "param %s %s\n", at, text)
	return nil
}

// maxDepth ends the walk through parameters that point to themselves.
const maxDepth = 100

var (
	jsonMarshaler = reflect.TypeFor[json.Marshaler]()
	textMarshaler = reflect.TypeFor[encoding.TextMarshaler]()
)

func checkParams(v reflect.Value, at string, depth int) error {
	if depth > maxDepth {
		return fmt.Errorf("%s is nested too deeply", at)
	}
	if t := v.Type(); t.Implements(jsonMarshaler) || t.Implements(textMarshaler) {
		return nil
	}
	switch v.Kind() {
	case reflect.Struct:
		return checkStruct(v, at, depth)
	case reflect.Slice, reflect.Array:
		return checkList(v, at, depth)
	case reflect.Map:
		return checkMap(v, at, depth)
	case reflect.Pointer:
		if v.IsNil() {
			return nil
		}
		return checkParams(v.Elem(), at, depth+1)
	case reflect.String:
		if !utf8.ValidString(v.String()) {
			return fmt.Errorf("%s is not UTF-8: %q", at, v.String())
		}
		return nil
	case reflect.Func, reflect.Chan, reflect.Interface, reflect.UnsafePointer, reflect.Complex64, reflect.Complex128:
		return fmt.Errorf("%s is a %s, which can't be part of a key", at, v.Kind())
	}
	return nil
}

func checkStruct(v reflect.Value, at string, depth int) error {
	names := map[string]bool{}
	for i := range v.NumField() {
		f := v.Type().Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "" {
			name = f.Name
		}
		switch {
		case f.Anonymous || !f.IsExported() || name == "-":
			return fmt.Errorf("%s.%s is embedded, unexported or hidden from JSON, so it would not be part of the key", at, f.Name)
		case names[name]:
			return fmt.Errorf("%s has two fields with the JSON name %q", at, name)
		}
		names[name] = true
		if err := checkParams(v.Field(i), at+"."+f.Name, depth+1); err != nil {
			return err
		}
	}
	return nil
}

func checkList(v reflect.Value, at string, depth int) error {
	for i := range v.Len() {
		if err := checkParams(v.Index(i), at+"["+strconv.Itoa(i)+"]", depth+1); err != nil {
			return err
		}
	}
	return nil
}

// checkMap takes maps with text keys: JSON sorts them.
func checkMap(v reflect.Value, at string, depth int) error {
	if v.Type().Key().Kind() != reflect.String {
		return errors.New(at + " is a map whose keys are not texts")
	}
	for _, k := range v.MapKeys() {
		if err := checkParams(k, at+" key", depth+1); err != nil {
			return err
		}
		if err := checkParams(v.MapIndex(k), at+"["+strconv.Quote(k.String())+"]", depth+1); err != nil {
			return err
		}
	}
	return nil
}

// explain names the first line in which two pre-images of one stage differ, with what stood there and what stands
// there now, and says how many more differ.
func explain(old, now string) string {
	was, is := facts(old), facts(now)
	var changed []string
	for _, label := range is.order {
		switch before, ok := was.value[label]; {
		case !ok:
			changed = append(changed, fmt.Sprintf("%s is new: %s", label, short(is.value[label])))
		case before != is.value[label]:
			changed = append(changed, fmt.Sprintf("%s was %s, is %s", label, short(before), short(is.value[label])))
		}
	}
	for _, label := range was.order {
		if _, ok := is.value[label]; !ok {
			changed = append(changed, fmt.Sprintf("%s is gone: %s", label, short(was.value[label])))
		}
	}
	switch len(changed) {
	case 0:
		return ""
	case 1:
		return changed[0]
	}
	return fmt.Sprintf("%s, and %d more", changed[0], len(changed)-1)
}

// short cuts a value to what a line of the screen bears. Of a digest the first digits tell it apart.
func short(value string) string {
	const digest, most = len("sha256:") + 12, 80
	if strings.HasPrefix(value, "sha256:") && len(value) > digest {
		return value[:digest] + "..."
	}
	if letters := []rune(value); len(letters) > most {
		return string(letters[:most]) + "..."
	}
	return value
}

type factList struct {
	order []string
	value map[string]string
}

// facts splits a pre-image into labels ("source a.csv") and values.
func facts(text string) factList {
	f := factList{value: map[string]string{}}
	for line := range strings.Lines(text) {
		label, value := splitFact(strings.TrimSuffix(line, "\n"))
		f.order = append(f.order, label)
		f.value[label] = value
	}
	return f
}

func splitFact(line string) (label, value string) {
	kind, rest, _ := strings.Cut(line, " ")
	switch kind {
	case "output", "need", "source":
		quoted, err := strconv.QuotedPrefix(rest)
		if err != nil {
			return kind, rest
		}
		name, _ := strconv.Unquote(quoted)
		return kind + " " + name, strings.TrimPrefix(rest[len(quoted):], " ")
	case "param":
		path := paramPath(rest)
		return kind + " " + path, strings.TrimPrefix(rest[len(path):], " ")
	}
	return kind, rest
}

// paramPath gives the path at the start of a text. It ends at the first blank outside a quoted map key.
func paramPath(text string) string {
	for i := 0; i < len(text); i++ {
		switch text[i] {
		case ' ':
			return text[:i]
		case '"':
			quoted, err := strconv.QuotedPrefix(text[i:])
			if err != nil {
				return text[:i]
			}
			i += len(quoted) - 1
		}
	}
	return text
}
