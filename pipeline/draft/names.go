package draft

import (
	"fmt"
	"path"
	"regexp"
	"strings"
	"unicode"
)

// Pattern says how the name of a file tells whose recording it is.
type Pattern struct {
	expression *regexp.Regexp
	whole      bool // it holds '/': the path below the source folder is matched
}

// ParsePattern reads a pattern: {subject}, {visit} and {recording} stand for the
// parts, * for what does not matter, everything else for itself. It is matched
// against the name without its ending, or, where it holds '/', against the path.
func ParsePattern(text string) (*Pattern, error) {
	expression := regexp.QuoteMeta(text)
	found := false
	for _, part := range []string{"subject", "visit", "recording"} {
		quoted := regexp.QuoteMeta("{" + part + "}")
		switch strings.Count(expression, quoted) {
		case 0:
		case 1:
			found = found || part == "subject"
			expression = strings.Replace(expression, quoted, "(?P<"+part+">[^/]+?)", 1)
		default:
			return nil, fmt.Errorf("{%s} stands twice in the pattern", part)
		}
	}
	if !found {
		return nil, fmt.Errorf("the pattern has no {subject}")
	}
	compiled, err := regexp.Compile("^" + strings.ReplaceAll(expression, `\*`, `[^/]*?`) + "$")
	if err != nil {
		return nil, fmt.Errorf("the pattern cannot be read")
	}
	return &Pattern{compiled, strings.Contains(text, "/")}, nil
}

// Match reports whether the pattern fits a name, path and all, without ending.
func (p *Pattern) Match(name string) bool { return p.parts(name) != nil }

func (p *Pattern) parts(name string) map[string]string {
	if !p.whole {
		name = path.Base(name)
	}
	m := p.expression.FindStringSubmatch(name)
	if m == nil {
		return nil
	}
	parts := map[string]string{}
	for i, part := range p.expression.SubexpNames() {
		if part != "" {
			parts[part] = m[i]
		}
	}
	return parts
}

// who is whose recording a file is.
type who struct{ subject, visit, recording string }

// who takes it from the entities of a BIDS name, from the pattern, or, where
// there is neither, makes each file a person's only one.
func (p *plan) who(r *Recording) who {
	base := path.Base(r.Name)
	w := who{subject: identifier(base), visit: "v1", recording: identifier(base)}
	if p.Format == "bids" {
		for _, entity := range strings.Split(base, "_") {
			switch {
			case strings.HasPrefix(entity, "sub-"):
				w.subject = identifier(entity)
			case strings.HasPrefix(entity, "ses-"):
				w.visit = identifier(entity)
			}
		}
		return w
	}
	if p.Pattern == nil {
		return w
	}
	parts := p.Pattern.parts(r.Name)
	w.subject = identifier(parts["subject"])
	if v := parts["visit"]; v != "" {
		w.visit = identifier(v)
	}
	if id := parts["recording"]; id != "" {
		w.recording = identifier(strings.Join([]string{w.subject, w.visit, id}, "-"))
	}
	return w
}

// identifier makes an id of a name: letters, digits and . _ -, a letter or a
// digit first, at most 60 of them, so that a number still fits behind.
func identifier(name string) string {
	id := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsNumber(r) || strings.ContainsRune("._-", r) {
			return r
		}
		return '-'
	}, name)
	id = strings.TrimLeft(id, "._-")
	if runes := []rune(id); len(runes) > 60 {
		id = string(runes[:60])
	}
	if id == "" {
		return "unnamed"
	}
	return id
}
