package study

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"tonocohort/schema"
)

// fault is what is wrong with the text of one cell.
type fault struct{ code, message, hint string }

const identifierRule = "starts with a letter or a digit, then letters, digits, blanks and . _ : / + -, at most 64 characters"

// isIdentifier reports whether s follows schema.Identifier.
func isIdentifier(s string) bool {
	if s == "" || !utf8.ValidString(s) || utf8.RuneCountInString(s) > 64 {
		return false
	}
	for i, r := range s {
		if unicode.IsLetter(r) || unicode.IsNumber(r) {
			continue
		}
		if i == 0 || !strings.ContainsRune(" ._:/+-", r) {
			return false
		}
	}
	return true
}

// isColumnName reports whether s can name a covariate: no blanks, since lists
// of names in cells are separated by them.
func isColumnName(s string) bool {
	first, _ := utf8.DecodeRuneInString(s)
	return isIdentifier(s) && unicode.IsLetter(first) && !strings.ContainsAny(s, " :/+")
}

// shorten cuts text for display.
func shorten(s string) string {
	const most = 40
	if utf8.RuneCountInString(s) > most {
		s = string([]rune(s)[:most]) + "…"
	}
	return s
}

// mask shows just enough of an identifying text to find it.
func mask(s string) string {
	r := []rune(s)
	if len(r) > 2 {
		return string(r[:2]) + "…"
	}
	return s
}

func plainNumber(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// trim removes white space around a cell and tells whether there was any, and
// whether it was of the kind that no one sees (a non-breaking space, for one).
func trim(s string) (text string, blanks, unseen bool) {
	if s == "" || s[0] > ' ' && s[0] < utf8.RuneSelf && s[len(s)-1] > ' ' && s[len(s)-1] < utf8.RuneSelf {
		return s, false, false
	}
	text = strings.TrimFunc(s, isBlank)
	if len(text) == len(s) {
		return s, false, false
	}
	start := strings.Index(s, text)
	around := s[:start] + s[start+len(text):]
	return text, true, strings.Trim(around, " \t\r\n") != ""
}

// isBlank reports white space, and the zero-width characters that editors and
// web pages leave behind.
func isBlank(r rune) bool {
	return unicode.IsSpace(r) || r == '\u200b' || r == '\ufeff' || r == '\u2060'
}

// hasUnseen reports a non-breaking or zero-width space within the text.
func hasUnseen(s string) bool {
	for i := range len(s) {
		if s[i] >= utf8.RuneSelf {
			return strings.ContainsFunc(s, func(r rune) bool { return r > ' ' && isBlank(r) })
		}
	}
	return false
}

// plainBlanks makes non-breaking and other spaces plain, and drops zero-width ones.
func plainBlanks(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\u200b' || r == '\ufeff' || r == '\u2060':
			return -1
		case unicode.IsSpace(r):
			return ' '
		}
		return r
	}, s)
}

// missingWords are what other programs write for a missing value.
func missingWords() []string {
	return []string{"na", "n.a.", "n/a", "#n/a", "null", "none", "nil", "missing", "miss", "unknown", ".", "-", "--", "?", "keine", "k.a."}
}

func isMissingWord(s string) bool { return slices.Contains(missingWords(), strings.ToLower(s)) }

// scanNumber reads a decimal number; comma says that its decimal sign is one.
// The text has no blanks around it and is not empty.
func scanNumber(s string, comma bool) (float64, *fault) {
	text := s
	if comma {
		if strings.IndexByte(s, '.') >= 0 && isDecimal(s) {
			return 0, &fault{"decimal_point", "a decimal point, where csv.decimal says comma", "write the column with one decimal sign"}
		}
		text = strings.Replace(s, ",", ".", 1)
	}
	if isDecimal(text) {
		v, err := strconv.ParseFloat(text, 64)
		if err == nil {
			return v, nil
		}
		return 0, &fault{"not_finite", "too large for a number", ""}
	}
	return 0, explainNumber(s, comma)
}

// isDecimal reports whether s is [sign] digits [. digits] [e [sign] digits],
// with at least one digit before the exponent.
func isDecimal(s string) bool {
	i, digits := 0, 0
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		i++
	}
	for i < len(s) && isDigit(s[i]) {
		i, digits = i+1, digits+1
	}
	if i < len(s) && s[i] == '.' {
		i++
		for i < len(s) && isDigit(s[i]) {
			i, digits = i+1, digits+1
		}
	}
	if digits == 0 || i == len(s) {
		return digits > 0
	}
	if s[i] != 'e' && s[i] != 'E' {
		return false
	}
	i++
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		i++
	}
	start := i
	for i < len(s) && isDigit(s[i]) {
		i++
	}
	return i > start && i == len(s)
}

func isDigit(b byte) bool { return b >= '0' && b <= '9' }

// explainNumber says why s is not a number.
func explainNumber(s string, comma bool) *fault {
	lower := strings.ToLower(strings.TrimLeft(s, "+-"))
	switch lower {
	case "nan", "inf", "infinity":
		return &fault{"not_finite", "not a finite number", "leave the cell empty where the value is missing"}
	}
	if isMissingWord(s) {
		return &fault{"missing_word", "a word where a number is expected", "leave the cell empty, or recode the word to \"\""}
	}
	if hasUnseen(s) {
		return &fault{"non_breaking_space", "a non-breaking or zero-width space within the number", "csv: {thousands: space} reads groups of three digits; else remove it"}
	}
	point := "."
	if comma {
		point = ","
	}
	if !comma && strings.Count(s, ",") == 1 && !strings.Contains(s, ".") && isDecimal(strings.Replace(s, ",", ".", 1)) {
		return &fault{"decimal_comma", "a comma within a number", "csv: {decimal: comma} reads decimal commas, csv: {thousands: comma} commas between thousands"}
	}
	for _, g := range schema.Groupings() {
		if ungrouped, ok := schema.Ungroup(s, g.Name, point[0]); ok && isDecimal(strings.Replace(ungrouped, point, ".", 1)) {
			return &fault{"thousands_separator", "a thousands separator within a number", "csv: {thousands: " + g.Name + "} reads it; or write digits and one decimal sign only"}
		}
	}
	cut := len(s) - len(strings.TrimLeft(s, "+-0123456789.,"))
	if rest := strings.TrimSpace(s[cut:]); cut > 0 && isDecimal(strings.Replace(s[:cut], point, ".", 1)) && rest != "" && unitLike(rest) {
		return &fault{"unit_in_cell", "a unit or a word behind the number", "leave it out; units: {column: unit} says which unit a column has"}
	}
	return &fault{"not_a_number", "not a number", ""}
}

// unitLike reports text that could be a unit: no digits in it.
func unitLike(s string) bool {
	return !strings.ContainsFunc(s, unicode.IsDigit) && len(s) <= 12
}

// wholeNumber reads an integer, which may be written as 3.0.
func wholeNumber(s string, comma bool) (float64, *fault) {
	v, f := scanNumber(s, comma)
	if f == nil && v != math.Trunc(v) {
		return 0, &fault{"not_integer", "not a whole number", ""}
	}
	return v, f
}

// scanLevel judges a level of a category with the given levels, any where
// there are none.
func scanLevel(s, column string, levels []string) *fault {
	if slices.Contains(levels, s) {
		return nil
	}
	if len(levels) == 0 {
		// None and unknown may be levels in their own right; these cannot, unless declared.
		if slices.Contains([]string{"na", "n.a.", "n/a", "#n/a", "nan", "null", ".", "-", "--", "?"}, strings.ToLower(s)) {
			return &fault{"missing_word", "a word for a missing value", "leave the cell empty, recode the word to \"\", or declare it among the levels"}
		}
		return scanIdentifier(s)
	}
	if strings.ContainsAny(s, "\r\n") {
		return &fault{"unknown_level", "levels: " + strings.Join(levels, ", "), breakHint(s, "")}
	}
	hint := "recode: {" + column + ": {" + quoteKey(shorten(s)) + ": LEVEL}} reads it as one of them"
	for _, level := range levels {
		if strings.EqualFold(level, s) {
			return &fault{"unknown_level", "levels: " + strings.Join(levels, ", "), "did you mean " + level + "? " + hint}
		}
	}
	if isMissingWord(s) {
		return &fault{"missing_word", "a word for a missing value; levels: " + strings.Join(levels, ", "), "leave the cell empty, or recode the word to \"\""}
	}
	if near := didYouMean(s, levels); near != "" && len(s) > 2 {
		hint = near + " " + hint
	}
	return &fault{"unknown_level", "levels: " + strings.Join(levels, ", "), hint}
}

// quoteKey writes a YAML key so that it stays text.
func quoteKey(s string) string { return strconv.Quote(s) }

// scanIdentifier judges an id or a level of an open list.
func scanIdentifier(s string) *fault {
	switch {
	case isIdentifier(s):
		return nil
	case startsFormula(s):
		return &fault{"formula_leading", "starts with a sign that spreadsheets take for a formula", "ids and levels start with a letter or a digit"}
	case hasUnseen(s):
		return &fault{"non_breaking_space", "a non-breaking or zero-width space within the text", "csv: {blanks: plain} reads it as a plain blank; or replace it"}
	default:
		return &fault{"bad_id", "not usable as an id or level: " + identifierRule, breakHint(s, "")}
	}
}

// startsFormula reports the characters of CWE-1236.
func startsFormula(s string) bool { return s != "" && strings.IndexByte("=+-@\t\r", s[0]) >= 0 }

// breakHint names the setting that reads line breaks within a cell.
func breakHint(s, otherwise string) string {
	if strings.ContainsAny(s, "\r\n") {
		return "csv: {line_breaks: blank} reads a line break as a blank; or keep it on one line"
	}
	return otherwise
}

// scanText judges free text, which may hold anything that one line can.
func scanText(s string) *fault {
	switch {
	case startsFormula(s):
		return &fault{"formula_leading", "starts with a sign that spreadsheets take for a formula", "put a letter or a digit first"}
	case strings.ContainsFunc(s, unicode.IsControl):
		return &fault{"control_character", "a control character or a line break within the text", breakHint(s, "take it out")}
	}
	return nil
}
