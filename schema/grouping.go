package schema

import "strings"

// Grouping is a sign between groups of three digits, as settings name it.
type Grouping struct {
	Name  string
	Signs []string // the characters that are it
}

// Groupings lists the signs that settings may declare, in the order in which a
// number is tried with them.
func Groupings() []Grouping {
	return []Grouping{
		{"space", []string{" ", "\u00a0", "\u202f", "\u2009"}}, // plain, non-breaking, narrow, thin
		{"comma", []string{","}}, {"point", []string{"."}}, {"apostrophe", []string{"'", "’"}},
	}
}

// Ungroup takes the named sign out of a number whose decimal sign is point;
// false where the text is no number in groups of three digits.
func Ungroup(text, name string, point byte) (string, bool) {
	for _, g := range Groupings() {
		if g.Name != name || g.Signs[0][0] == point {
			continue
		}
		whole, rest, hasRest := strings.Cut(text, string(point))
		for _, sign := range g.Signs[1:] {
			whole = strings.ReplaceAll(whole, sign, g.Signs[0])
		}
		groups := strings.Split(whole, g.Signs[0])
		first := len(strings.TrimLeft(groups[0], "+-"))
		if len(groups) < 2 || first < 1 || first > 3 {
			return "", false
		}
		for _, digits := range groups[1:] {
			if len(digits) != 3 || strings.Trim(digits, "0123456789") != "" {
				return "", false
			}
		}
		if text = strings.Join(groups, ""); hasRest {
			text += string(point) + rest
		}
		return text, true
	}
	return "", false
}
