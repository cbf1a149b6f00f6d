package study

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"tonocohort/schema"
)

// OwnSet is a published set of the study's own that a plan names.
type OwnSet struct {
	Index      int // in compare_with
	Name, File string
}

// OwnSets lists the published sets of a plan that are the study's own files.
func OwnSets(a schema.Analysis) []OwnSet {
	var sets []OwnSet
	for i, name := range a.CompareWith {
		file, named := a.CompareFiles[name]
		if !named && isOwnSet(name) {
			file = name
		}
		if file != "" && isLocal(file) {
			sets = append(sets, OwnSet{i, name, file})
		}
	}
	return sets
}

func isOwnSet(name string) bool { return strings.HasSuffix(name, ".csv") }

// publishedNames decodes compare_with: names, and files with the name that they
// have in the tables.
func (d *decoder) publishedNames(n *yaml.Node, names *schema.PublishedNames, path string) {
	if n.Kind != yaml.SequenceNode {
		d.wrongType(n, path, "a list", "write [mceniery2005, {name: ours, file: ours.csv}]")
		return
	}
	*names = make(schema.PublishedNames, len(n.Content))
	for i, item := range n.Content {
		at := fmt.Sprintf("%s[%d]", path, i)
		if item = resolve(item); item.Kind == yaml.MappingNode {
			(*names)[i] = d.namedFile(item, at)
			continue
		}
		d.value(item, reflect.ValueOf(&(*names)[i]).Elem(), at)
	}
}

// namedFile decodes {name: …, file: …} and returns the name.
func (d *decoder) namedFile(n *yaml.Node, path string) string {
	var own struct {
		Name string `yaml:"name"`
		File string `yaml:"file"`
	}
	d.value(n, reflect.ValueOf(&own).Elem(), path)
	d.named[path] = true
	for _, key := range []string{"name", "file"} {
		if !d.given(join(path, key)) {
			d.fault(join(path, key), "", "missing_setting", "required for a published set of the study's own", "{name: ours, file: ours.csv}")
		}
	}
	if own.Name == "" || own.File == "" {
		return own.Name
	}
	if d.compareFiles == nil {
		d.compareFiles = map[string]string{}
	}
	if _, twice := d.compareFiles[own.Name]; !twice { // a name that stands twice is reported
		d.compareFiles[own.Name] = own.File
	}
	return own.Name
}

// checkCompared judges the published sets of a plan by what needs no file.
func (d *decoder) checkCompared(a schema.Analysis, section string, o Options) {
	d.once(section, a.CompareWith)
	files := map[string]bool{}
	for i, name := range a.CompareWith {
		path := fmt.Sprintf("%s[%d]", section, i)
		file, own := a.CompareFiles[name]
		switch {
		case d.named[path] && (name == "" || !own): // reported
		case own:
			path = join(path, "file")
			if !isIdentifier(name) {
				d.fault(join(fmt.Sprintf("%s[%d]", section, i), "name"), name, "bad_name", identifierRule, "")
			}
			if slices.Contains(o.Published, name) {
				d.fault(join(fmt.Sprintf("%s[%d]", section, i), "name"), name, "name_taken", "a published set that ships has this name", "give the study's own another")
			}
		case isOwnSet(name):
			file = name
		case o.Published != nil:
			d.oneOf(path, name, o.Published)
		}
		if file == "" {
			continue
		}
		if !isLocal(file) {
			d.fault(path, file, "file_outside_study", "the path must stay inside the study folder", "a relative path with '/', without '..'")
		}
		if files[file] && slices.Index(a.CompareWith, name) == i { // else the name is reported
			d.fault(path, file, "duplicate_item", "the file is named twice", "keep one")
		}
		files[file] = true
	}
}
