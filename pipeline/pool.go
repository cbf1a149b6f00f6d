package pipeline

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

// studyColumn is the column that says which study a pooled person is of.
const studyColumn = "study"

// PoolOptions says how studies are pooled.
type PoolOptions struct {
	Options
	Analysis       string // file with the plan; "": the plan that all of them had, by study
	AllowDifferent bool   // calibration and method may differ: it is noted
}

// Pool puts the person-level tables of several results folders into one, with
// the study as a column and ids as study/id, carries out a plan on it and lists
// which ids are likely one person. Studies of another calibration or method are
// a *StructuralError, unless they are allowed to differ.
func Pool(ctx context.Context, dirs []string, outDir string, o PoolOptions) (*Outcome, error) {
	o.Options = o.filled()
	started := o.Now()
	p := &pool{output: output{dir: outDir, listed: true}}
	defer p.close()
	for _, dir := range dirs {
		s, err := openWhole(dir)
		if err != nil {
			return nil, err
		}
		p.sources = append(p.sources, s)
	}
	slices.SortStableFunc(p.sources, func(a, b *source) int { return cmp.Compare(a.prefix(), b.prefix()) })
	if err := p.gather(ctx); err != nil {
		return nil, err
	}
	p.agree(o.AllowDifferent)
	plan, err := p.plan(o.Analysis)
	if err != nil {
		return nil, err
	}
	p.found = append(p.found, plan.issues...)
	schema.SortIssues(p.found)
	if schema.AnyStructural(p.found) {
		return nil, &StructuralError{Issues: p.found}
	}
	if err := p.open(o.Replace, dirs...); err != nil {
		return nil, err
	}
	if err := p.issues.add(p.found...); err != nil {
		return nil, err
	}
	if err := p.write(plan, *o.build); err != nil {
		return nil, err
	}
	if err := p.seal(started, o.Now(), 1); err != nil {
		return nil, err
	}
	return p.outcome()
}

// pool carries what the steps hand on to each other.
type pool struct {
	output
	sources []*source
	found   []schema.Issue  // before the folder was opened
	frames  []*schema.Frame // visits, by source
	flows   []*schema.Frame
	shapes  map[[2]string][]float32
	visits  *schema.Frame // pooled
}

func (p *pool) close() {
	for _, s := range p.sources {
		s.root.Close()
	}
	p.output.close()
}

// prefix goes before the ids of a study.
func (s *source) prefix() string { return s.manifest.Study.ID + "/" }

// gather reads what is pooled.
func (p *pool) gather(ctx context.Context) error {
	p.shapes = map[[2]string][]float32{}
	for _, s := range p.sources {
		if err := ctx.Err(); err != nil {
			return err
		}
		visits, err := s.visits()
		if err != nil {
			return err
		}
		flow, err := s.flow()
		if err != nil {
			return err
		}
		if err := s.check(tablePath("waveforms")); err != nil {
			return err
		}
		shapes, err := waveShapes(s.root, s.prefix())
		if err != nil {
			return err
		}
		for key, shape := range shapes {
			p.shapes[key] = shape
		}
		p.frames, p.flows = append(p.frames, visits), append(p.flows, flow)
	}
	p.visits = p.pooledVisits()
	return nil
}

// plan is that of a file, else the one that all studies had, with the study as
// the first stratum.
func (p *pool) plan(file string) (plan, error) {
	table := p.visits.Table
	if file != "" {
		return p.sources[0].plan(file, table)
	}
	own, err := p.sources[0].ownPlan(table)
	if err != nil {
		return plan{}, err
	}
	first, err := canonical(own.analysis)
	if err != nil {
		return plan{}, err
	}
	for _, s := range p.sources[1:] {
		other, err := canonical(s.manifest.Settings.Analysis)
		if err != nil {
			return plan{}, err
		}
		if string(first) != string(other) {
			p.fault(s, "settings.analysis", "pooled_plans_differ", "the studies had different plans", "give --analysis FILE")
			return plan{analysis: own.analysis}, nil
		}
	}
	if len(p.sources) > 1 && !slices.Contains(own.analysis.Strata, studyColumn) {
		own.analysis.Strata = append([]string{studyColumn}, own.analysis.Strata...)
		own.issues = nil
		own.judge(table, func([]schema.Issue) {})
	}
	return own, nil
}

// write writes the pooled tables and the statistics.
func (p *pool) write(plan plan, build schema.Build) error {
	inputs := slices.Clone(plan.inputs)
	for _, s := range p.sources {
		for _, f := range s.read {
			f.Path = s.prefix() + f.Path
			inputs = append(inputs, f)
		}
		p.manifest.Sources = append(p.manifest.Sources, s.identity())
	}
	sources := p.manifest.Sources
	p.begin(p.settings(plan), build, inputs)
	p.manifest.Sources = sources
	p.manifest.Counts = p.counts()
	if err := p.keepOwnSets(plan.own); err != nil {
		return err
	}
	var err error
	if p.visits, err = classed(p.visits, plan.analysis.BPScheme); err != nil {
		return err
	}
	if err := p.output.write(p.visits); err != nil {
		return err
	}
	if err := p.output.write(likelySame(examinees(p.visits, p.shapes))); err != nil {
		return err
	}
	return p.statistics(tabulate.Measured{Visits: p.visits}, p.pooledFlow(), plan.file, plan.section)
}

// settings are those of the first study where all agree, for the pooled one.
func (p *pool) settings(plan plan) schema.Settings {
	s := p.sources[0].manifest.Settings
	s.Analysis, s.Tables, s.Covariates = plan.analysis, schema.TableFiles{}, nil
	if len(p.sources) == 1 {
		return s
	}
	var ids []string
	for _, source := range p.sources {
		ids = append(ids, source.manifest.Study.ID)
		d := source.manifest.Settings.Disclosure
		s.Disclosure.MinCell = max(s.Disclosure.MinCell, d.MinCell) // the strictest holds
		if d.OnViolation == "block" {
			s.Disclosure.OnViolation = d.OnViolation
		}
	}
	s.Study = schema.StudyIdentity{ID: strings.Join(ids, "+"), Title: "pooled from " + strings.Join(ids, ", ")}
	return s
}

func (p *pool) counts() schema.Counts {
	var c schema.Counts
	for _, s := range p.sources {
		o := s.manifest.Counts
		c.Withdrawn += o.Withdrawn
		for _, t := range []struct{ into, from *schema.Tally }{{&c.Subjects, &o.Subjects}, {&c.Visits, &o.Visits}, {&c.Recordings, &o.Recordings}} {
			t.into.Found += t.from.Found
			t.into.Used += t.from.Used
			t.into.Excluded += t.from.Excluded
			t.into.Failed += t.from.Failed
		}
		c.Beats.Found += o.Beats.Found
		c.Beats.Accepted += o.Beats.Accepted
	}
	return c
}

// pooledFlow puts the studies' own stages one behind the other.
func (p *pool) pooledFlow() *schema.Frame {
	out := schema.NewFrame(schema.FlowTable(), 0)
	for i, f := range p.flows {
		last := 0.0
		if out.N > 0 {
			last = out.Number(out.N-1, "order")
		}
		for row := range f.N {
			to := out.AddRow()
			out.CopyRow(to, f, row)
			out.SetNumber(to, "order", last+f.Number(row, "order"))
			if len(p.flows) > 1 {
				out.SetText(to, "stage", p.sources[i].prefix()+f.TextAt(row, "stage"))
			}
		}
	}
	return out
}

// fault and note are about the settings of one of the studies.
func (p *pool) fault(s *source, name, code, message, hint string) {
	p.issue(schema.SizeStructural, s, name, "", code, message, hint)
}

func (p *pool) issue(size schema.Size, s *source, name, value, code, message, hint string) {
	p.found = append(p.found, schema.Issue{Size: size, File: s.prefix() + ManifestName, Name: name, Value: value, Code: code, Message: message, Hint: hint})
}
