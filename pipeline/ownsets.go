package pipeline

import (
	"bytes"
	"fmt"
	"io"
	"slices"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
	"tonocohort/schema/published"
)

// ownFolder holds the published sets of a study's own within its results, so
// that the statistics can be made again from the results alone.
const ownFolder = tablesFolder + "published/"

// readOwnSets reads published sets of a study's own. A set that cannot be read
// is a structural fault of the plan that names it.
func readOwnSets(files []study.NamedFile, compareWith []string, file, section string) ([]published.Set, []schema.Issue) {
	var sets []published.Set
	var issues []schema.Issue
	for _, f := range files {
		set, err := published.Read(f.Name, bytes.NewReader(f.Data))
		if err != nil {
			path := fmt.Sprintf("compare_with[%d]", slices.Index(compareWith, f.Name))
			if section != "" {
				path = section + "." + path
			}
			issues = append(issues, schema.Issue{Size: schema.SizeStructural, File: file, Name: path, Value: f.Path,
				Code: "published_set_unreadable", Message: err.Error(), Hint: "tonocohort published --help has the format"})
			continue
		}
		sets = append(sets, set)
	}
	return sets, issues
}

// keepOwnSets makes the sets ready for the statistics and writes them beside
// the tables: they hold no single person.
func (o *output) keepOwnSets(files []study.NamedFile) error {
	var issues []schema.Issue
	o.own, issues = readOwnSets(files, o.manifest.Settings.Analysis.CompareWith, "", "")
	if len(issues) > 0 {
		return fmt.Errorf("%s", issues[0]) // the plan was judged before
	}
	for _, f := range files {
		out, err := writeFile(o.results, ownFolder+f.Path, false, func(w io.Writer) error {
			_, err := w.Write(f.Data)
			return err
		})
		if err != nil {
			return err
		}
		o.manifest.Outputs = append(o.manifest.Outputs, out)
	}
	return nil
}
