package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"

	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
	"tonocohort/schema/published"
)

// Tables makes the statistics again from the person-level tables of a results
// folder and leaves them in outDir, sealed. The plan stands in planFile, or is
// that of the results where planFile is "". What is read must be as the manifest
// says: else it is a *DifferenceError. A plan that cannot be carried out is a
// *StructuralError, and nothing is written.
func Tables(ctx context.Context, resultsDir, planFile, outDir string, o Options) (*Outcome, error) {
	o = o.filled()
	started := o.Now()
	source, err := openWhole(resultsDir)
	if err != nil {
		return nil, err
	}
	defer source.root.Close()
	visits, done, err := source.lentVisits()
	if err != nil {
		return nil, err
	}
	defer done()
	p, err := source.plan(planFile, visits.Table)
	if err != nil {
		return nil, err
	}
	if schema.AnyStructural(p.issues) {
		return nil, &StructuralError{Issues: p.issues}
	}
	before, err := source.flow()
	if err != nil {
		return nil, err
	}
	measured, doneMeasured, err := source.measured(visits)
	if err != nil {
		return nil, err
	}
	defer doneMeasured()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	out := &output{dir: outDir, listed: true}
	defer out.close()
	if err := out.open(o.Replace, resultsDir); err != nil {
		return nil, err
	}
	if err := out.issues.add(p.issues...); err != nil {
		return nil, err
	}
	settings := source.manifest.Settings
	settings.Analysis = p.analysis
	out.begin(settings, *o.build, append(p.inputs, source.read...))
	out.manifest.Sources, out.manifest.KeyID = []schema.Source{source.identity()}, source.manifest.KeyID
	out.manifest.Counts = source.manifest.Counts
	if err := out.keepOwnSets(p.own); err != nil {
		return nil, err
	}
	if err := out.statistics(measured, before, p.file, p.section); err != nil {
		return nil, err
	}
	if err := out.seal(started, o.Now(), 1); err != nil {
		return nil, err
	}
	return out.outcome()
}

// plan is a plan that has been read, with where it stands.
type plan struct {
	analysis      schema.Analysis
	own           []study.NamedFile
	inputs        []schema.File
	file, section string
	issues        []schema.Issue // sorted
}

// plan reads the plan, of a file or of the manifest, and judges it against the
// columns of the table.
func (s *source) plan(planFile string, table schema.Table) (plan, error) {
	if planFile == "" {
		return s.ownPlan(table)
	}
	root, err := store.OpenRoot(filepath.Dir(planFile))
	if err != nil {
		return plan{}, err
	}
	defer root.Close()
	name := filepath.Base(planFile)
	data, digest, err := root.ReadFile(name, nil, maxPlan)
	if err != nil {
		return plan{}, fmt.Errorf("the plan %s: %w", planFile, err)
	}
	loaded := study.LoadAnalysis(data, name, table.Columns, study.Options{Published: published.Names()})
	p := plan{analysis: loaded.Analysis, file: name, section: loaded.Section, issues: loaded.Issues,
		inputs: []schema.File{{Path: name, Bytes: int64(len(data)), SHA256: digest}}}
	for _, own := range study.OwnSets(p.analysis) {
		data, digest, err := root.ReadFile(own.File, nil, maxPlan)
		if err != nil {
			p.unread(own, err, loaded.Locate)
			continue
		}
		p.own = append(p.own, study.NamedFile{Path: own.File, Name: own.Name, Data: data})
		p.inputs = append(p.inputs, schema.File{Path: own.File, Bytes: int64(len(data)), SHA256: digest})
	}
	p.judge(table, loaded.Locate)
	return p, nil
}

// unread adds the fault of a published set that the plan names and that cannot be
// read.
func (p *plan) unread(own study.OwnSet, err error, locate func([]schema.Issue)) {
	i := schema.Issue{Size: schema.SizeStructural, File: p.file, Name: fmt.Sprintf("compare_with[%d]", own.Index), Value: own.File,
		Code: "cannot_read", Message: "the file cannot be read", Hint: "the path is relative to the folder of the plan"}
	if errors.Is(err, fs.ErrNotExist) {
		i.Code, i.Message = "missing_file", "no such file beside the plan"
	}
	if p.section != "" {
		i.Name = p.section + "." + i.Name
	}
	if own.Name != own.File {
		i.Name += ".file"
	}
	found := []schema.Issue{i}
	locate(found)
	p.issues = append(p.issues, found...)
	schema.SortIssues(p.issues)
}

// maxPlan bounds the size of a plan and of a published set.
const maxPlan = 1 << 20

// ownPlan is the plan of the results themselves.
func (s *source) ownPlan(table schema.Table) (plan, error) {
	p := plan{analysis: s.manifest.Settings.Analysis, file: ManifestName, section: "settings.analysis"}
	for _, own := range study.OwnSets(p.analysis) {
		data, err := s.file(ownFolder + own.File)
		if err != nil {
			return plan{}, err
		}
		p.own = append(p.own, study.NamedFile{Path: own.File, Name: own.Name, Data: data})
	}
	p.judge(table, func([]schema.Issue) {})
	return p, nil
}

// judge adds what the statistics themselves ask of a plan.
func (p *plan) judge(table schema.Table, locate func([]schema.Issue)) {
	if schema.AnyStructural(p.issues) {
		return
	}
	own, found := readOwnSets(p.own, p.analysis.CompareWith, p.file, p.section)
	if scheme, err := study.SchemeByName(p.analysis.BPScheme); err == nil {
		table = scheme.WithClasses(table)
	}
	if len(found) == 0 {
		found = tabulate.Check(p.analysis, table.Columns, p.file, p.section, own...)
	}
	locate(found)
	for _, i := range found { // the check of the settings may have listed it, with its place
		if !slices.ContainsFunc(p.issues, func(known schema.Issue) bool { return placeless(known) == placeless(i) }) {
			p.issues = append(p.issues, i)
		}
	}
	schema.SortIssues(p.issues)
}
