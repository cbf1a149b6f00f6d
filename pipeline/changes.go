package pipeline

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Change is one value that is not the same in two documents. Path leads to it by
// names and positions: settings.cuff.rule, settings.analysis.models[0].terms.
type Change struct {
	Path string `json:"path"`
	Old  string `json:"old"` // "" where there was none
	New  string `json:"new"`
}

// String is the line that a person reads.
func (c Change) String() string {
	shown := func(s string) string {
		const most = 120
		if s == "" {
			return "none"
		}
		if runes := []rune(s); len(runes) > most {
			return string(runes[:most]) + "…"
		}
		return s
	}
	return fmt.Sprintf("%s: %s → %s", c.Path, shown(c.Old), shown(c.New))
}

// changes lists the values that two documents do not share, in the order of
// their paths.
func changes(old, now any) ([]Change, error) {
	before, err := generic(old)
	if err != nil {
		return nil, err
	}
	after, err := generic(now)
	if err != nil {
		return nil, err
	}
	return appendChanges([]Change{}, "", before, after), nil
}

// generic is v as JSON has it.
func generic(v any) (any, error) {
	data, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.UseNumber()
	var out any
	return out, decoder.Decode(&out)
}

func appendChanges(list []Change, path string, old, now any) []Change {
	before, isObject := old.(map[string]any)
	after, stillObject := now.(map[string]any)
	if isObject && stillObject {
		names := map[string]bool{}
		for name := range before {
			names[name] = true
		}
		for name := range after {
			names[name] = true
		}
		for _, name := range slices.Sorted(maps.Keys(names)) {
			list = appendChanges(list, strings.TrimPrefix(path+"."+name, "."), before[name], after[name])
		}
		return list
	}
	first, isList := old.([]any)
	second, stillList := now.([]any)
	if isList && stillList && len(first) == len(second) {
		for i := range first {
			list = appendChanges(list, fmt.Sprintf("%s[%d]", path, i), first[i], second[i])
		}
		return list
	}
	if a, b := valueText(old), valueText(now); a != b {
		list = append(list, Change{path, a, b})
	}
	return list
}

// valueText is a value in canonical form; "" where there is none.
func valueText(v any) string {
	if v == nil {
		return ""
	}
	if s, ok := v.(string); ok {
		return s
	}
	data, err := canonical(v)
	if err != nil {
		return fmt.Sprint(v)
	}
	return string(data)
}
