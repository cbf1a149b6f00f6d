package pipeline

import (
	"fmt"
	"slices"
	"strings"

	"tonocohort/schema"
)

// agree finds in what the studies differ that their values depend on.
func (p *pool) agree(allow bool) {
	seen := map[string]bool{}
	for _, s := range p.sources {
		id := s.manifest.Study.ID
		if seen[id] {
			p.fault(s, "study.id", "pooled_study_twice", "two of the studies are called "+id+": their persons could not be told apart", "give each study its own study.id")
		}
		seen[id] = true
	}
	first := p.sources[0]
	for _, s := range p.sources[1:] {
		a, b := first.manifest.Settings, s.manifest.Settings
		for _, part := range []struct {
			name     string
			a, b     any
			required bool
		}{
			{"calibration", a.Calibration, b.Calibration, true},
			{"central", a.Central, b.Central, true},
			{"cuff", a.Cuff, b.Cuff, false},
			{"beats", a.Beats, b.Beats, false},
			{"quality", a.Quality, b.Quality, false},
			{"protocol", a.Protocol, b.Protocol, false},
			{"replicates", a.Replicates, b.Replicates, false},
			{"build", first.manifest.Build.Executable, s.manifest.Build.Executable, false},
		} {
			if same(part.a, part.b) {
				continue
			}
			message := fmt.Sprintf("%s of %s: %s; of %s: %s", part.name, first.manifest.Study.ID, shown(part.a), s.manifest.Study.ID, shown(part.b))
			size, hint := schema.SizeNote, "a difference between the studies may come from this"
			if part.required && !allow {
				size, hint = schema.SizeStructural, "run one of them again with the other's, or --allow-different to have it noted"
			}
			p.issue(size, s, "settings."+part.name, "", "pooled_settings_differ", message, hint)
		}
	}
}

func same(a, b any) bool { return shown(a) == shown(b) }

func shown(v any) string {
	data, err := canonical(v)
	if err != nil {
		return fmt.Sprint(v)
	}
	return string(data)
}

// pooledVisits puts the tables of visits into one. Columns that came with the
// persons are those of all studies; a study without one has it missing.
func (p *pool) pooledVisits() *schema.Frame {
	ids := make([]string, len(p.sources))
	for i, s := range p.sources {
		ids[i] = s.manifest.Study.ID
	}
	carried := []schema.Column{{Name: studyColumn, Kind: schema.Category, Levels: ids, Meaning: "the study that the person took part in"}}
	own := schema.SubjectVisitsTable(nil)
	for i, f := range p.frames {
		for _, c := range f.Table.Columns {
			if own.Index(c.Name) >= 0 {
				continue
			}
			carried = p.join(carried, c, i)
		}
	}
	for i, f := range p.frames {
		for _, c := range carried[1:] {
			if !f.Has(c.Name) {
				p.issue(schema.SizeNote, p.sources[i], c.Name, "", "pooled_column_absent", "the study has no column "+c.Name+": it is missing for all its persons", "")
			}
		}
	}
	out := schema.NewFrame(schema.SubjectVisitsTable(carried), 0)
	for i, f := range p.frames {
		for row := range f.N {
			to := out.AddRow()
			out.CopyRow(to, f, row)
			out.SetText(to, "subject_id", p.sources[i].prefix()+f.TextAt(row, "subject_id"))
			out.SetText(to, studyColumn, ids[i])
		}
	}
	return out
}

// join adds a carried column of study i to those that are there.
func (p *pool) join(carried []schema.Column, c schema.Column, i int) []schema.Column {
	at := slices.IndexFunc(carried, func(o schema.Column) bool { return o.Name == c.Name })
	switch {
	case at < 0:
		return append(carried, c)
	case at == 0:
		p.fault(p.sources[i], c.Name, "pooled_column_name_taken", "the study has a column called "+studyColumn, "rename it")
	case carried[at].Kind != c.Kind || carried[at].Unit != c.Unit:
		p.fault(p.sources[i], c.Name, "pooled_column_differs",
			fmt.Sprintf("%s is %s in the studies before and %s here", c.Name, strings.TrimSpace(string(carried[at].Kind)+" "+carried[at].Unit), strings.TrimSpace(string(c.Kind)+" "+c.Unit)), "")
	default:
		for _, level := range c.Levels {
			if !slices.Contains(carried[at].Levels, level) {
				carried[at].Levels = append(slices.Clone(carried[at].Levels), level)
			}
		}
	}
	return carried
}
