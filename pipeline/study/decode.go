package study

import (
	"bytes"
	"errors"
	"io"
	"reflect"
	"regexp"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"tonocohort/schema"
)

// place is where a setting stands in its file, from 1.
type place struct{ line, column int }

// decoder fills a settings structure from YAML, keeps the place of each
// setting, and collects every fault instead of stopping at the first. What
// the file is silent about keeps the value it had: its default.
type decoder struct {
	file   string
	issues []schema.Issue
	at     map[string]place // by path: beats.lowpass_hz, analysis.models[0].name
	known  map[string][]string
	nodes  int // values visited, so that aliases of aliases cannot multiply without end

	compareFiles map[string]string // by name: published sets of the study's own
	named        map[string]bool   // by path: items of compare_with that name their file
}

// nodeLimit is far above any plan that a person writes.
const nodeLimit = 50_000

func newDecoder(file string) *decoder {
	d := &decoder{file: file, at: map[string]place{}, known: map[string][]string{}, named: map[string]bool{}}
	listKeys(reflect.TypeFor[schema.Settings](), "", d.known)
	for _, name := range protocolNames() {
		d.known[name] = append(d.known[name], "protocol")
	}
	return d
}

// listKeys records for every key of the settings the section it stands in.
func listKeys(t reflect.Type, section string, known map[string][]string) {
	for t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct || t == reflect.TypeFor[schema.Term]() && strings.HasSuffix(section, ".interaction") {
		return // the terms of an interaction have the keys of any term
	}
	for i := range t.NumField() {
		name := t.Field(i).Tag.Get("yaml")
		if name == "" || name == "-" {
			continue
		}
		known[name] = append(known[name], section)
		listKeys(t.Field(i).Type, join(section, name), known)
	}
}

func join(section, name string) string {
	if section == "" {
		return name
	}
	return section + "." + name
}

func (d *decoder) add(at place, name, value, code, message, hint string) {
	d.issues = append(d.issues, schema.Issue{Size: schema.SizeStructural, File: d.file, Row: at.line, Column: at.column,
		Name: name, Value: shorten(value), Code: code, Message: message, Hint: hint})
}

// fault reports a setting that could be decoded but has no meaning. The place
// is that of the path, or of the nearest section around it that was given.
func (d *decoder) fault(path, value, code, message, hint string) {
	d.add(d.place(path), path, value, code, message, hint)
}

func (d *decoder) place(path string) place {
	for {
		if at, ok := d.at[path]; ok {
			return at
		}
		cut := strings.LastIndexAny(path, ".[")
		if cut < 0 {
			return place{line: 1}
		}
		path = path[:cut]
	}
}

// locate fills in the places of issues that have none.
func (d *decoder) locate(issues []schema.Issue) {
	if d == nil {
		return
	}
	for i := range issues {
		if issues[i].File == d.file && issues[i].Row == 0 && issues[i].Name != "" {
			at := d.place(issues[i].Name)
			issues[i].Row, issues[i].Column = at.line, at.column
		}
	}
}

// given reports whether the file sets the path.
func (d *decoder) given(path string) bool {
	_, ok := d.at[path]
	return ok
}

// The YAML package has no field for the line of an error: it stands in its
// text, one too low in the errors of its parser, and not at all for an
// unknown anchor.
var (
	yamlLine   = regexp.MustCompile(`line (\d+): `)
	yamlParser = regexp.MustCompile(`did not find expected (node content|key|'-' indicator|',' or|<)`)
	yamlAnchor = regexp.MustCompile(`unknown anchor '([^']+)'`)
)

// explainYAML splits the text of an error into its line and the rest.
func explainYAML(err error, data []byte) (line int, text string) {
	line, text = 1, strings.TrimPrefix(err.Error(), "yaml: ")
	if m := yamlLine.FindStringSubmatch(text); m != nil {
		line, _ = strconv.Atoi(m[1])
		text = strings.Replace(text, m[0], "", 1)
		if yamlParser.MatchString(text) {
			line++
		}
	} else if m := yamlAnchor.FindStringSubmatch(text); m != nil {
		line = lineOf(data, max(0, bytes.Index(data, []byte("*"+m[1]))))
	}
	return min(line, lineOf(data, len(bytes.TrimRight(data, "\n")))), text
}

// parse returns the root node of the only document of data, nil on a fault.
func (d *decoder) parse(data []byte) *yaml.Node {
	reader := yaml.NewDecoder(bytes.NewReader(data))
	var document yaml.Node
	if err := reader.Decode(&document); err != nil {
		if errors.Is(err, io.EOF) {
			d.add(place{line: 1}, "", "", "yaml_empty", "the file holds no settings", "")
			return nil
		}
		line, text := explainYAML(err, data)
		d.add(place{line: line}, "", "", "yaml_syntax", "not YAML: "+text, "indent with blanks, not tabs; quote text that holds ': ' or starts with a sign")
		return nil
	}
	var next yaml.Node
	if err := reader.Decode(&next); !errors.Is(err, io.EOF) {
		d.add(place{line: max(next.Line, 1)}, "", "", "yaml_documents", "more than one document in the file", "remove the line --- and what follows")
	}
	if len(document.Content) != 1 {
		d.add(place{line: 1}, "", "", "yaml_empty", "the file holds no settings", "")
		return nil
	}
	return document.Content[0]
}
