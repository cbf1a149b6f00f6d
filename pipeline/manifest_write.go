package pipeline

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"tonocohort/schema"
)

// A manifest lists as many inputs as there are recordings, so it is written, and its
// digest taken, without ever having all of them in memory.

// inputsMember is the name of the list of inputs.
const inputsMember = "inputs"

// manifestMember is a member of a manifest, as JSON without white space; that of
// inputs has no value.
type manifestMember struct {
	name  string
	value json.RawMessage
}

// membersOf lists the members of a manifest in their order.
func membersOf(m *schema.Manifest) ([]manifestMember, error) {
	short := *m
	short.Inputs = []schema.File{}
	text, err := plainJSON(&short)
	if err != nil {
		return nil, err
	}
	var members []manifestMember
	err = eachMember(json.NewDecoder(bytes.NewReader(text)), func(name string, value *json.Decoder) error {
		member := manifestMember{name: name}
		err := value.Decode(&member.value)
		members = append(members, member)
		return err
	})
	return members, err
}

// eachMember visits the members of an object; visit reads the value of each.
func eachMember(decoder *json.Decoder, visit func(name string, value *json.Decoder) error) error {
	if brace, err := decoder.Token(); err != nil || brace != json.Delim('{') {
		return cmp.Or(err, errors.New("no JSON object"))
	}
	for decoder.More() {
		name, err := decoder.Token()
		if err != nil {
			return err
		}
		if err := visit(fmt.Sprint(name), decoder); err != nil {
			return err
		}
	}
	_, err := decoder.Token() // the other brace
	return err
}

// plainJSON is JSON without escapes for HTML and without white space.
func plainJSON(v any) ([]byte, error) {
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	encoder.SetEscapeHTML(false)
	err := encoder.Encode(v)
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), err
}

// writeContent writes what the content digest is taken over: see contentOf.
func writeContent(w io.Writer, m *schema.Manifest, inputs *sorted[schema.File]) error {
	members, err := membersOf(m)
	if err != nil {
		return err
	}
	members = slices.DeleteFunc(members, func(m manifestMember) bool { return m.name == "content" || m.name == "run" })
	// The names are ASCII, whose order is the same in UTF-16.
	slices.SortFunc(members, func(a, b manifestMember) int { return strings.Compare(a.name, b.name) })
	out := &errorWriter{w: w}
	before := "{"
	for _, member := range members {
		fmt.Fprintf(out, "%s%q:", before, member.name)
		before = ","
		if member.name == inputsMember {
			err = writeInputs(out, inputs, listForm{"[", ",", "]"}, func(text []byte) ([]byte, error) { return canonicalJSON(text) })
		} else if text, fault := canonicalJSON(member.value); fault == nil {
			out.Write(text)
		} else {
			err = fault
		}
		if err != nil {
			return err
		}
	}
	fmt.Fprint(out, "}")
	return out.err
}

// writeManifest writes the manifest as JSON with an indent of one blank.
func writeManifest(w io.Writer, m *schema.Manifest, inputs *sorted[schema.File]) error {
	members, err := membersOf(m)
	if err != nil {
		return err
	}
	out := &errorWriter{w: w}
	before := "{\n "
	for _, member := range members {
		fmt.Fprintf(out, "%s%q: ", before, member.name)
		before = ",\n "
		if member.name == inputsMember {
			err = writeInputs(out, inputs, listForm{"[\n  ", ",\n  ", "\n ]"}, func(text []byte) ([]byte, error) { return indented(text, "  ") })
		} else if text, fault := indented(member.value, " "); fault == nil {
			out.Write(text)
		} else {
			err = fault
		}
		if err != nil {
			return err
		}
	}
	fmt.Fprint(out, "\n}\n")
	return out.err
}

func indented(text []byte, prefix string) ([]byte, error) {
	var b bytes.Buffer
	err := json.Indent(&b, text, prefix, " ")
	return b.Bytes(), err
}

// listForm is what stands before, between and behind the things of a list.
type listForm struct{ open, between, close string }

// writeInputs writes each input once: a side file serves many recordings.
func writeInputs(w *errorWriter, inputs *sorted[schema.File], form listForm, shaped func([]byte) ([]byte, error)) error {
	if inputs.n == 0 {
		fmt.Fprint(w, "[]")
		return w.err
	}
	before := form.open
	var last schema.File
	err := inputs.each(func(in schema.File) error {
		if before != form.open && in == last {
			return nil
		}
		last = in
		text, err := plainJSON(in)
		if err != nil {
			return err
		}
		if text, err = shaped(text); err != nil {
			return err
		}
		fmt.Fprint(w, before)
		before = form.between
		w.Write(text)
		return w.err
	})
	fmt.Fprint(w, form.close)
	return err
}

// errorWriter keeps the first error and writes nothing after it.
type errorWriter struct {
	w   io.Writer
	err error
}

func (e *errorWriter) Write(b []byte) (n int, err error) {
	if e.err == nil {
		n, e.err = e.w.Write(b)
	}
	return n, e.err
}
