package pipeline

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// fromTables computes the statistics again from the person-level tables of the
// results themselves, which are held to their digests first.
func (r *Rerun) fromTables(ctx context.Context, resultsDir string, old *sealedFolder, o RerunOptions) error {
	source, err := openWhole(resultsDir)
	if err != nil {
		return err
	}
	defer source.root.Close()
	if !source.has(tablePath("subject_visits")) {
		return &RerunUsageError{"these results hold no person-level tables: give those that they were made from"}
	}
	visits, done, err := source.lentVisits()
	if err != nil {
		return err
	}
	defer done()
	p, err := source.plan("", visits.Table)
	if err != nil {
		return err
	}
	if schema.AnyStructural(p.issues) {
		return &StructuralError{Issues: p.issues}
	}
	before, err := source.flow()
	if err != nil {
		return err
	}
	measured, doneMeasured, err := source.measured(visits)
	if err != nil {
		return err
	}
	defer doneMeasured()
	r.add("tables read", Same, len(source.read), "as their digests say")
	dir, err := os.MkdirTemp("", "tonocohort-rerun-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	again := &output{dir: filepath.Join(dir, "results")}
	defer again.close()
	if err := again.open(false, resultsDir); err != nil {
		return err
	}
	if err := again.issues.add(p.issues...); err != nil {
		return err
	}
	var sources []schema.File
	for _, in := range old.manifest.Inputs {
		if isStudyTable(old.manifest.Settings, in.Path) {
			sources = append(sources, in)
		}
	}
	again.begin(old.manifest.Settings, *o.build, sources)
	again.manifest.Counts = old.manifest.Counts
	if err := again.keepOwnSets(p.own); err != nil {
		return err
	}
	if err := again.statistics(measured, before, study.SettingsFile, "analysis"); err != nil {
		return err
	}
	fresh, err := openUnsealed(again.dir, &again.manifest)
	if err != nil {
		return err
	}
	defer fresh.close()
	made := func(path string) bool { return fresh.has(path) && path != issuesPath }
	if r.Comparison, err = compareFiles(ctx, old, fresh, made, CompareOptions{Limit: o.Limit}); err != nil {
		return err
	}
	r.skip("recordings")
	for _, out := range old.manifest.Outputs {
		if !made(out.Path) {
			r.NotDone = append(r.NotDone, out.Path)
		}
	}
	r.NotDone = append(r.NotDone, tablePath("flow")+", the stages before the analysis")
	r.stage("statistics", func(path string) bool { return strings.HasPrefix(path, tablesFolder) })
	r.stage("release", func(path string) bool { return strings.HasPrefix(path, releaseFolder) })
	return nil
}

// issuesPath holds what was found wrong in the study, which the tables do not
// tell.
const issuesPath = tablesFolder + AllIssues + ".parquet"

// openUnsealed opens what has just been computed, with the manifest that would
// seal it.
func openUnsealed(dir string, m *schema.Manifest) (*sealedFolder, error) {
	root, err := openFolder(dir)
	if err != nil {
		return nil, err
	}
	return &sealedFolder{root, m}, nil
}

// isStudyTable reports whether an input is the settings, a table of the study or
// a file that the settings name: everything but recordings.
func isStudyTable(s schema.Settings, path string) bool {
	named := []string{study.SettingsFile, s.Tables.Subjects, s.Tables.Visits, s.Tables.Cuff, s.Tables.Recordings, s.Tables.Reviews, s.Tables.Withdrawn, s.Central.TransferFile}
	for _, own := range study.OwnSets(s.Analysis) {
		named = append(named, own.File)
	}
	for _, name := range named {
		if name != "" && filepath.ToSlash(filepath.Clean(name)) == path {
			return true
		}
	}
	return false
}

// inSample reports whether a subject is in a share of all that is chosen by name:
// by the SHA-256 of the id, so that anyone draws the same and nobody can choose.
func inSample(id string, share float64) bool {
	digest := sha256.Sum256([]byte("tonocohort sample\x00" + id))
	const one = 1 << 53
	return float64(binary.BigEndian.Uint64(digest[:])>>11)/one < share
}
