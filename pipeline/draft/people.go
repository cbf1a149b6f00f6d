package draft

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// covariate is an extra column of the side files.
type covariate struct {
	name, in, kind string
	levels         []string
}

func (c covariate) yaml() string {
	text := fmt.Sprintf("{name: %s, in: %s, type: %s", strconv.Quote(c.name), c.in, c.kind)
	if len(c.levels) > 0 {
		quoted := make([]string, len(c.levels))
		for i, level := range c.levels {
			quoted[i] = strconv.Quote(level)
		}
		text += ", levels: [" + strings.Join(quoted, ", ") + "]"
	}
	return text + "}"
}

// personal are names of columns that tell who someone is, or when something
// was: they are not taken over.
var personal = regexp.MustCompile(`(?i)(^|_)(name|surname|forename|firstname|lastname|initials?|birth\w*|dob|address|street|city|zip|postcode|phone|e?mail|mrn|ssn|nhs|insurance\w*|acq_time|date\w*|time|comments?|notes?|remarks?)($|_)`)

// sexes are the words of BIDS for sex that the contract calls otherwise.
func sexes() map[string]string {
	return map[string]string{"M": "male", "m": "male", "Male": "male", "MALE": "male", "F": "female", "f": "female", "Female": "female", "FEMALE": "female",
		"O": "other", "o": "other", "Other": "other", "OTHER": "other"}
}

// participants takes over participants.tsv.
func (p *plan) participants() {
	t := p.Participants
	id := slices.Index(t.Header, "participant_id")
	if id < 0 {
		if len(t.Header) > 0 {
			p.todo("participants.tsv has no column participant_id and was not read")
		}
		return
	}
	for _, row := range t.Rows {
		p.person(identifier(row[id]))
	}
	values := func(column int) map[string]string {
		byPerson := map[string]string{}
		for _, row := range t.Rows {
			byPerson[identifier(row[id])] = row[column]
		}
		return byPerson
	}
	for i, name := range t.Header {
		switch {
		case i == id:
		case name == "age" && p.inYears():
			p.ages = values(i)
		case name == "sex":
			p.sex(values(i))
		default:
			p.column(&p.subjects, "subjects", "participants.tsv", name, func(row []string) string { return values(i)[row[0]] })
		}
	}
}

// inYears reports whether the side file leaves the unit of age at years.
func (p *plan) inYears() bool {
	unit := strings.ToLower(p.Units["age"])
	return unit == "" || strings.HasPrefix(unit, "year") || unit == "y"
}

func (p *plan) sex(values map[string]string) {
	words := map[string]bool{}
	for at := range p.subjects.Rows {
		v := values[p.subjects.Rows[at][0]]
		p.subjects.Rows[at][1] = v
		words[v] = true
	}
	for _, word := range slices.Sorted(maps.Keys(words)) {
		if to, ok := sexes()[word]; ok {
			p.recode = append(p.recode, strconv.Quote(word)+": "+to)
		} else if !slices.Contains([]string{"", "female", "male", "other", "unknown"}, word) {
			p.todo("study.yaml: recode sex %s to female, male, other or unknown", strconv.Quote(word))
		}
	}
}

// column takes a column over: into the contract's own where it is one, else as
// a covariate of the kind that its values have.
func (p *plan) column(t *Table, in, file, name string, value func(row []string) string) {
	if personal.MatchString(name) || name == "subject_id" || name == "visit_id" {
		p.todo("%s: the column %s was not taken over, since it may tell who or when. Add it yourself if the study needs it", file, quoted(name))
		return
	}
	to := p.contractColumn(in, name)
	if to == "" {
		to = p.covariateName(name, in)
		p.covariates = append(p.covariates, p.kindOf(to, in, t, value))
	}
	at := slices.Index(t.Header, to)
	if at < 0 {
		t.Header = append(t.Header, to)
		at = len(t.Header) - 1
		for i := range t.Rows {
			t.Rows[i] = append(t.Rows[i], "")
		}
	}
	for i := range t.Rows {
		if v := value(t.Rows[i]); v != "" {
			t.Rows[i][at] = v
		}
	}
}

// contractColumn is the column of the contract that a side file's column is,
// "" for none. Height and weight count only where their unit is said.
func (p *plan) contractColumn(in, name string) string {
	declared := schema.SubjectsInput()
	if in == "visits" {
		declared = schema.VisitsInput()
	}
	if at := declared.Index(name); at >= 0 && !declared.Columns[at].Key {
		return name
	}
	to := map[string]string{"height": "height_cm", "weight": "weight_kg"}[name]
	if to == "" {
		return ""
	}
	unit := p.Units[name]
	if unit == to[len("height_"):] {
		return to
	}
	if slices.Contains([]string{"m", "lb", "g"}, unit) {
		if setting := to + ": " + unit; !slices.Contains(p.units, setting) {
			p.units = append(p.units, setting)
		}
		return to
	}
	p.todo("no side file says the unit of %s: it became a covariate. If it is that of %s, rename the column in %s.csv and take it out of covariates", name, to, in)
	return ""
}

// covariateName makes a name that a covariate can have and no other has.
func (p *plan) covariateName(name, in string) string {
	plain := strings.ReplaceAll(identifier(name), " ", "_")
	if plain == "" || !(plain[0] >= 'A' && plain[0] <= 'Z' || plain[0] >= 'a' && plain[0] <= 'z') {
		plain = "x_" + plain
	}
	taken := func(s string) bool {
		return p.Reserved(s) || slices.ContainsFunc(p.covariates, func(c covariate) bool { return c.name == s })
	}
	to := plain
	if taken(to) {
		to = strings.TrimSuffix(in, "s") + "_" + plain
	}
	for n := 2; taken(to); n++ {
		to = fmt.Sprintf("%s_%d", plain, n)
	}
	if to != name {
		p.todo("the column %s is called %s in %s.csv", quoted(name), to, in)
	}
	return to
}

// mostLevels is how many levels a column may have to count as a category.
const mostLevels = 12

var level = regexp.MustCompile(`^[\pL\pN][\pL\pN ._:/+-]{0,63}$`)

// kindOf judges what a column holds by its values.
func (p *plan) kindOf(name, in string, t *Table, value func(row []string) string) covariate {
	c := covariate{name: name, in: in, kind: "integer"}
	levels := map[string]bool{}
	plain := true
	for _, row := range t.Rows {
		v := value(row)
		if v == "" {
			continue
		}
		levels[v] = true
		plain = plain && level.MatchString(v)
		if _, err := strconv.Atoi(v); err != nil && c.kind == "integer" {
			c.kind = "number"
		}
		if _, err := strconv.ParseFloat(v, 64); err != nil {
			c.kind = "text"
		}
	}
	if c.kind == "text" && plain && len(levels) <= mostLevels {
		c.kind, c.levels = "category", slices.Sorted(maps.Keys(levels))
	}
	if len(levels) == 0 {
		c.kind = "text"
	}
	return c
}

// sessions fills the visits: the age, and the columns of sessions.tsv.
func (p *plan) sessions() {
	var columns []string
	for _, person := range slices.Sorted(maps.Keys(p.Sessions)) {
		for _, name := range p.Sessions[person].Header {
			if name != "session_id" && !slices.Contains(columns, name) {
				columns = append(columns, name)
			}
		}
	}
	visits := map[string]int{}
	for _, v := range p.visits.Rows {
		visits[v[0]]++
	}
	for i, v := range p.visits.Rows {
		first := i == 0 || p.visits.Rows[i-1][0] != v[0]
		v[2] = p.session(v, "age")
		if v[2] == "" && (visits[v[0]] == 1 || first) {
			v[2] = p.ages[v[0]]
		}
	}
	for _, name := range columns {
		if name != "age" {
			p.column(&p.visits, "visits", "sessions.tsv", name, func(row []string) string { return p.session(row, name) })
		}
	}
}

// session finds the cell of a visit in the sessions of its person.
func (p *plan) session(visit []string, column string) string {
	t := p.Sessions[visit[0]]
	id, at := slices.Index(t.Header, "session_id"), slices.Index(t.Header, column)
	if id < 0 || at < 0 {
		return ""
	}
	for _, row := range t.Rows {
		if identifier(row[id]) == visit[1] {
			return row[at]
		}
	}
	return ""
}

// quoted shows a name of the source, cut to a length that a line can take.
func quoted(name string) string {
	if r := []rune(name); len(r) > 40 {
		name = string(r[:40]) + "…"
	}
	return strconv.Quote(name)
}
