package study

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"tonocohort/schema"
)

// protocolNumbers and protocolLevels are the columns of the visits table that
// a protocol may limit, in their order there.
func protocolNumbers() []string {
	return []string{"rest_min", "caffeine_h", "exercise_h", "tobacco_h", "meal_h", "alcohol_h"}
}

func protocolLevels() []string { return []string{"posture", "vasoactive", "legs_crossed"} }

func protocolNames() []string { return append(protocolNumbers(), protocolLevels()...) }

// protocol decodes the limits by column: a number for the smallest minutes or
// hours, a level for the answer that departs, or the word ignore.
func (d *decoder) protocol(n *yaml.Node, p *schema.ProtocolSettings, path string) {
	names := append([]string{"on_departure"}, protocolNames()...)
	visits := schema.VisitsInput()
	d.pairs(n, path, func(key, value *yaml.Node) {
		name, at := key.Value, join(path, key.Value)
		value = resolve(value)
		ignore := value.Kind == yaml.ScalarNode && value.Value == "ignore"
		if ignore {
			d.at[at] = place{value.Line, value.Column}
		}
		switch {
		case name == "on_departure":
			d.value(value, reflect.ValueOf(&p.OnDeparture).Elem(), at)
		case slices.Contains(protocolNumbers(), name) && ignore:
			delete(p.Limits, name)
		case slices.Contains(protocolNumbers(), name):
			var limit float64
			d.value(value, reflect.ValueOf(&limit).Elem(), at)
			p.Limits[name] = limit
		case slices.Contains(protocolLevels(), name) && ignore:
			delete(p.Forbidden, name)
		case slices.Contains(protocolLevels(), name):
			var level string
			d.value(value, reflect.ValueOf(&level).Elem(), at)
			d.oneOf(at, level, visits.Columns[visits.Index(name)].Levels)
			p.Forbidden[name] = level
		default:
			d.unknown(key, path, names)
		}
	})
}

// rules decodes the conditions of an analysis set in their order. Each is a
// column with the levels that are in, or with bounds.
func (d *decoder) rules(n *yaml.Node, rules *[]schema.Rule, path string) {
	if n.Kind != yaml.SequenceNode {
		d.wrongType(n, path, "a list of rules", "write [{treated: [no]}, {age_years: {at_least: 18}}], or [] for everyone")
		return
	}
	*rules = []schema.Rule{}
	for i, item := range n.Content {
		if !d.visit(item) {
			return
		}
		at := fmt.Sprintf("%s[%d]", path, i)
		item = resolve(item)
		d.at[at] = place{item.Line, item.Column}
		var rule schema.Rule // kept even where faulty, so that positions stay those of the file
		d.pairs(item, at, func(key, condition *yaml.Node) {
			if rule.Column != "" {
				d.add(place{key.Line, key.Column}, at, key.Value, "rule_two_columns", "one rule names one column", "write each as an item of its own")
				return
			}
			rule.Column = key.Value
			path := join(at, key.Value)
			d.at[path] = place{key.Line, key.Column} // where a column that does not exist is shown
			d.condition(resolve(condition), &rule, path)
		})
		*rules = append(*rules, rule)
	}
}

func (d *decoder) condition(n *yaml.Node, rule *schema.Rule, path string) {
	switch n.Kind {
	case yaml.SequenceNode:
		d.value(n, reflect.ValueOf(&rule.Levels).Elem(), path+".levels")
		if len(n.Content) == 0 {
			d.fault(path, "", "empty_rule", "no level is in: the set would be empty", "name the levels that are in")
		}
	case yaml.MappingNode:
		bounds := map[string]**float64{"below": &rule.Below, "at_least": &rule.AtLeast, "above": &rule.Above, "at_most": &rule.AtMost}
		names := []string{"below", "at_least", "above", "at_most"}
		d.pairs(n, path, func(key, value *yaml.Node) {
			bound, ok := bounds[key.Value]
			if !ok {
				d.unknown(key, path, names)
				return
			}
			var number float64
			d.value(value, reflect.ValueOf(&number).Elem(), join(path, key.Value))
			*bound = &number
		})
		d.checkBounds(n, *rule, path)
	default:
		d.wrongType(n, path, "a list of levels or bounds", fmt.Sprintf("write {%s: [%s]} or {%s: {below: …}}", rule.Column, shorten(n.Value), rule.Column))
	}
}

// checkBounds refuses bounds that no number meets.
func (d *decoder) checkBounds(n *yaml.Node, rule schema.Rule, path string) {
	if len(n.Content) == 0 {
		d.fault(path, "", "empty_rule", "no bound is named", "bounds: below, at_least, above, at_most")
	}
	for _, low := range []struct {
		bound  *float64
		strict bool
	}{{rule.AtLeast, false}, {rule.Above, true}} {
		for _, high := range []struct {
			bound  *float64
			strict bool
		}{{rule.AtMost, false}, {rule.Below, true}} {
			if low.bound == nil || high.bound == nil {
				continue
			}
			if *low.bound > *high.bound || *low.bound == *high.bound && (low.strict || high.strict) {
				d.fault(path, "", "empty_rule", "no number lies within these bounds: the set would be empty", "")
			}
		}
	}
}

// oneOf reports a value that is not among the known ones.
func (d *decoder) oneOf(path, value string, known []string) bool {
	if slices.Contains(known, value) {
		return true
	}
	if value == "" && (!d.given(path) || slices.ContainsFunc(d.issues, func(i schema.Issue) bool { return i.Name == path })) {
		return false // absent, or of the wrong type, which is reported
	}
	d.fault(path, value, "unknown_value", "known values: "+strings.Join(known, ", "), didYouMean(value, known))
	return false
}

// supported reports a value of the contract that this build cannot do.
func (d *decoder) supported(path, value string, contract, able []string) {
	if !d.oneOf(path, value, contract) || able == nil || slices.Contains(able, value) {
		return
	}
	d.fault(path, value, "not_supported", "this version cannot do it yet", "supported: "+strings.Join(able, ", "))
}

func didYouMean(word string, known []string) string {
	if near, ok := nearest(word, known); ok {
		return "did you mean " + near + "?"
	}
	return ""
}

// nearest finds the known word closest to the given one, or the shortest that
// it is the beginning of: central_pp for central_pp_mmhg.
func nearest(word string, known []string) (string, bool) {
	if near, ok := schema.Nearest(word, known); ok {
		return near, true
	}
	best := ""
	for _, k := range known {
		if len(word) > 2 && strings.HasPrefix(k, strings.ToLower(word)+"_") && (best == "" || len(k) < len(best)) {
			best = k
		}
	}
	return best, best != ""
}
