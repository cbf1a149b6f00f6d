package study

import (
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"tonocohort/schema"
)

// value fills v from n. Aliases are followed, up to nodeLimit values in all.
func (d *decoder) value(n *yaml.Node, v reflect.Value, path string) {
	if !d.visit(n) {
		return
	}
	n = resolve(n)
	at := place{n.Line, n.Column}
	if path != "" {
		d.at[path] = at
	}
	if n.ShortTag() == "!!null" && n.Kind == yaml.ScalarNode {
		if v.Kind() != reflect.Struct {
			d.add(at, path, "", "empty_setting", "no value", "leave the key out for its default, or write [] for none")
		}
		return
	}
	switch special := v.Addr().Interface().(type) {
	case *schema.ProtocolSettings:
		d.protocol(n, special, path)
		return
	case *[]schema.Rule:
		d.rules(n, special, path)
		return
	case *schema.PublishedNames:
		d.publishedNames(n, special, path)
		return
	case *schema.Term:
		d.term(n, special, path)
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		made := reflect.New(v.Type().Elem())
		d.value(n, made.Elem(), path)
		v.Set(made)
	case reflect.Struct:
		d.structure(n, v, path)
	case reflect.Map:
		d.mapOf(n, v, path)
	case reflect.Slice:
		d.list(n, v, path)
	default:
		d.scalar(n, v, path)
	}
}

// visit counts a value and reports whether the limit still holds.
func (d *decoder) visit(n *yaml.Node) bool {
	d.nodes++
	if d.nodes == nodeLimit {
		d.add(place{n.Line, n.Column}, "", "", "yaml_too_large", "aliases multiply the settings beyond reason", "write the settings out")
	}
	return d.nodes < nodeLimit
}

// resolve returns the node that an alias stands for.
func resolve(n *yaml.Node) *yaml.Node {
	for n.Kind == yaml.AliasNode {
		n = n.Alias
	}
	return n
}

// pairs calls each for the keys of a mapping in order, each key once.
func (d *decoder) pairs(n *yaml.Node, path string, each func(key, value *yaml.Node)) {
	if n.Kind != yaml.MappingNode {
		d.wrongType(n, path, "keys with values", "")
		return
	}
	seen := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key := resolve(n.Content[i])
		name := join(path, key.Value)
		if key.Kind != yaml.ScalarNode {
			d.wrongType(key, path, "a name as key", "")
			continue
		}
		if first, twice := seen[key.Value]; twice {
			d.add(place{n.Content[i].Line, n.Content[i].Column}, name, "", "duplicate_setting", fmt.Sprintf("set twice, first on line %d", first), "keep one")
			continue
		}
		seen[key.Value] = n.Content[i].Line
		each(key, n.Content[i+1])
	}
}

func (d *decoder) structure(n *yaml.Node, v reflect.Value, path string) {
	fields := map[string]int{}
	var names []string
	for i := range v.NumField() {
		if name := v.Type().Field(i).Tag.Get("yaml"); name != "" && name != "-" {
			fields[name] = i
			names = append(names, name)
		}
	}
	d.pairs(n, path, func(key, value *yaml.Node) {
		i, ok := fields[key.Value]
		if !ok {
			d.unknown(key, path, names)
			return
		}
		d.value(value, v.Field(i), join(path, key.Value))
	})
}

// unknown reports a key that does not exist at its level.
func (d *decoder) unknown(key *yaml.Node, path string, names []string) {
	message, hint := "unknown setting", "known here: "+strings.Join(names, ", ")
	if path != "" {
		message += " of " + path
	}
	sections := d.known[key.Value]
	near, ok := schema.Nearest(key.Value, names)
	switch {
	case key.Value == "<<":
		hint = "merge keys are not supported: write the settings out"
	case len(sections) > 0:
		where := sections[0]
		if where == "" {
			where = "the top level"
		}
		hint = fmt.Sprintf("%s belongs under %s", key.Value, where)
	case ok:
		hint = fmt.Sprintf("did you mean %s?", near)
	}
	d.add(place{key.Line, key.Column}, join(path, key.Value), "", "unknown_setting", message, hint)
}

func (d *decoder) mapOf(n *yaml.Node, v reflect.Value, path string) {
	made := reflect.MakeMap(v.Type())
	d.pairs(n, path, func(key, value *yaml.Node) {
		element := reflect.New(v.Type().Elem()).Elem()
		if value.ShortTag() == "!!null" && element.Kind() == reflect.String {
			d.at[join(path, key.Value)] = place{value.Line, value.Column} // a level recoded to missing
		} else {
			d.value(value, element, join(path, key.Value))
		}
		made.SetMapIndex(reflect.ValueOf(key.Value), element)
	})
	v.Set(made)
}

func (d *decoder) list(n *yaml.Node, v reflect.Value, path string) {
	if n.Kind != yaml.SequenceNode {
		d.wrongType(n, path, "a list", "write it in brackets: ["+shorten(n.Value)+"]")
		return
	}
	made := reflect.MakeSlice(v.Type(), len(n.Content), len(n.Content))
	for i, item := range n.Content {
		d.value(item, made.Index(i), fmt.Sprintf("%s[%d]", path, i))
	}
	v.Set(made)
}

func (d *decoder) scalar(n *yaml.Node, v reflect.Value, path string) {
	if n.Kind != yaml.ScalarNode {
		d.wrongType(n, path, kindWord(v.Kind()), "")
		return
	}
	tag := n.ShortTag()
	switch v.Kind() {
	case reflect.String:
		v.SetString(n.Value) // as written: 0123 stays 0123
	case reflect.Bool:
		if tag != "!!bool" {
			d.wrongType(n, path, "true or false", "")
			return
		}
		v.SetBool(strings.EqualFold(n.Value, "true"))
	case reflect.Int:
		number, err := strconv.Atoi(n.Value)
		if tag != "!!int" || err != nil {
			d.wrongType(n, path, "a whole number", "")
			return
		}
		v.SetInt(int64(number))
	case reflect.Float64:
		number, err := strconv.ParseFloat(n.Value, 64)
		if tag != "!!int" && tag != "!!float" || err != nil || math.IsInf(number, 0) || math.IsNaN(number) {
			hint := ""
			if tag == "!!str" && strings.Contains(n.Value, ",") {
				hint = "write a decimal point"
			}
			d.wrongType(n, path, "a number", hint)
			return
		}
		v.SetFloat(number)
	}
}

func kindWord(k reflect.Kind) string {
	switch k {
	case reflect.Int:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	case reflect.Bool:
		return "true or false"
	default:
		return "text"
	}
}

func (d *decoder) wrongType(n *yaml.Node, path, want, hint string) {
	found := "text"
	switch {
	case n.Kind == yaml.MappingNode:
		found = "keys with values"
	case n.Kind == yaml.SequenceNode:
		found = "a list"
	case n.ShortTag() == "!!int" || n.ShortTag() == "!!float":
		found = "a number"
	case n.ShortTag() == "!!bool":
		found = "true or false"
	}
	message := fmt.Sprintf("expected %s, found %s", want, found)
	if want == found {
		message = "expected " + want + " in plain decimal notation"
	}
	d.add(place{n.Line, n.Column}, path, n.Value, "wrong_type", message, hint)
}
