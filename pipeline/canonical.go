package pipeline

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"unicode/utf16"
)

// canonical encodes v as canonical JSON: see canonicalJSON.
func canonical(v any) ([]byte, error) {
	data, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	return canonicalJSON(data)
}

// canonicalJSON rewrites a JSON text by the JSON Canonicalization Scheme (RFC
// 8785): no white space, members sorted by the UTF-16 code units of their names,
// numbers as ECMAScript writes a double, strings with the fewest escapes. So
// whoever has the manifest can recompute its content digest in any language. A
// name that stands twice in one object is an error: it has no one meaning.
func canonicalJSON(data []byte) ([]byte, error) {
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.UseNumber()
	out, err := appendCanonical(make([]byte, 0, len(data)), decoder, 0)
	if err != nil {
		return nil, err
	}
	if _, err := decoder.Token(); err != io.EOF {
		return nil, errors.New("something stands behind the JSON value")
	}
	return out, nil
}

// deepest bounds nesting, so that a text of brackets cannot exhaust the stack.
const deepest = 1000

func appendCanonical(out []byte, d *json.Decoder, depth int) ([]byte, error) {
	if depth > deepest {
		return nil, fmt.Errorf("JSON nested deeper than %d", deepest)
	}
	token, err := d.Token()
	if err != nil {
		return nil, err
	}
	switch v := token.(type) {
	case json.Delim:
		if v == '{' {
			return appendObject(out, d, depth)
		}
		return appendArray(out, d, depth)
	case json.Number:
		return appendNumber(out, v)
	case string:
		return appendString(out, v), nil
	case bool:
		return strconv.AppendBool(out, v), nil
	}
	return append(out, "null"...), nil
}

func appendArray(out []byte, d *json.Decoder, depth int) ([]byte, error) {
	out = append(out, '[')
	for first := true; d.More(); first = false {
		if !first {
			out = append(out, ',')
		}
		var err error
		if out, err = appendCanonical(out, d, depth+1); err != nil {
			return nil, err
		}
	}
	_, err := d.Token()
	return append(out, ']'), err
}

// member is one member of an object, its value in canonical form.
type member struct {
	name  string
	order []uint16
	value []byte
}

func appendObject(out []byte, d *json.Decoder, depth int) ([]byte, error) {
	var members []member
	for d.More() {
		token, err := d.Token()
		if err != nil {
			return nil, err
		}
		name, _ := token.(string)
		value, err := appendCanonical(nil, d, depth+1)
		if err != nil {
			return nil, err
		}
		members = append(members, member{name, utf16.Encode([]rune(name)), value})
	}
	if _, err := d.Token(); err != nil {
		return nil, err
	}
	slices.SortFunc(members, func(a, b member) int { return slices.Compare(a.order, b.order) })
	out = append(out, '{')
	for i, m := range members {
		if i > 0 {
			if members[i-1].name == m.name {
				return nil, fmt.Errorf("the member %q stands twice in one object", m.name)
			}
			out = append(out, ',')
		}
		out = append(append(appendString(out, m.name), ':'), m.value...)
	}
	return append(out, '}'), nil
}

func appendNumber(out []byte, n json.Number) ([]byte, error) {
	v, err := n.Float64()
	if err != nil {
		return nil, err
	}
	if v == 0 {
		return append(out, '0'), nil // also −0
	}
	if size := max(v, -v); size >= 1e-6 && size < 1e21 {
		return strconv.AppendFloat(out, v, 'f', -1, 64), nil
	}
	text := strconv.AppendFloat(nil, v, 'e', -1, 64)
	// ECMAScript writes the exponent without a leading zero.
	if n := len(text); text[n-2] == '0' && text[n-3] < '0' {
		text[n-2] = text[n-1]
		text = text[:n-1]
	}
	return append(out, text...), nil
}

func appendString(out []byte, s string) []byte {
	out = append(out, '"')
	for i := 0; i < len(s); i++ {
		switch c := s[i]; c {
		case '"', '\\':
			out = append(out, '\\', c)
		case '\b':
			out = append(out, `\b`...)
		case '\t':
			out = append(out, `\t`...)
		case '\n':
			out = append(out, `\n`...)
		case '\f':
			out = append(out, `\f`...)
		case '\r':
			out = append(out, `\r`...)
		default:
			if c < ' ' {
				out = fmt.Appendf(out, `\u%04x`, c)
			} else {
				out = append(out, c)
			}
		}
	}
	return append(out, '"')
}
