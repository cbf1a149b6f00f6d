package pipeline

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/release"
	"tonocohort/pipeline/report"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

const releaseFolder = "release/"

// ErrDisclosure says that the study wants no release where a rule hides a cell.
type ErrDisclosure struct{ Hidden int }

func (e *ErrDisclosure) Error() string {
	return fmt.Sprintf("the release was blocked: rules of disclosure control would hide something in %d rows", e.Hidden)
}

// release writes what may leave the study: what the rules of disclosure control
// leave of the statistics, and where they come from, by digests alone. Which rule
// hid what in which row stays with the study.
func (o *output) release(visits, recordings *schema.Frame, results tabulate.Results, apart ...*schema.Frame) error {
	settings := o.manifest.Settings
	checked, err := release.Check(release.Input{
		Tables: results.Frames(), Apart: apart, Visits: visits, Recordings: recordings, People: release.People(results.People), Settings: settings, Own: o.own,
	})
	if err != nil {
		return err
	}
	if err := visits.Err(); err != nil {
		return fmt.Errorf("%s: %w", tablePath("subject_visits"), err)
	}
	if err := o.write(checked.Detail); err != nil {
		return err
	}
	if checked.Hidden > 0 && settings.Disclosure.OnViolation == "block" {
		o.blocked = &ErrDisclosure{checked.Hidden}
		return nil
	}
	var resources []schema.DataResource
	for _, f := range append(checked.Tables, checked.Report) {
		resource, err := o.releaseTable(f)
		if err != nil {
			return err
		}
		resources = append(resources, resource)
	}
	if err := o.releaseJSON("datapackage.json", schema.NewDataPackage(settings.Study.ID, settings.Study.Title, schema.Caution, resources)); err != nil {
		return err
	}
	source := report.Source{Frames: append(checked.Tables, checked.Report), Settings: settings, Build: o.manifest.Build, Own: o.own}
	tables := report.Tables(source)
	if err := o.publish(source, tables); err != nil {
		return err
	}
	if err := o.illustrate(source, tables); err != nil {
		return err
	}
	return o.releaseProvenance(checked.Hidden)
}

// publish writes the tables of a paper and its Methods in words, from what has
// been released.
func (o *output) publish(s report.Source, tables []*report.Table) error {
	for _, t := range tables {
		for _, form := range []struct {
			extension string
			content   func(io.Writer) error
		}{{".csv", t.WriteCSV}, {".md", t.WriteMarkdown}, {".html", t.WriteHTML}} {
			if err := o.releaseText(t.Name+form.extension, form.content); err != nil {
				return err
			}
		}
	}
	return o.releaseText("methods.md", func(w io.Writer) error { return report.WriteMethods(w, s) })
}

// illustrate writes the figures and the report, from what has been released.
func (o *output) illustrate(s report.Source, tables []*report.Table) error {
	s.Inputs, s.Files, s.Again = o.inputDigests(), o.released(), o.again()
	figures := report.Figures(s)
	for _, d := range figures {
		if err := o.releaseText(figuresFolder+d.Name+".svg", d.File().WriteSVG); err != nil {
			return err
		}
	}
	return o.releaseText(reportName, func(w io.Writer) error { return report.WriteReport(w, s, tables, figures) })
}

// reportName is the page that a person opens first.
const reportName = "report.html"

// again is the command that computes the results again.
func (o *output) again() string {
	if len(o.manifest.Sources) > 0 {
		return "tonocohort rerun RESULTS --from tables"
	}
	return "tonocohort rerun RESULTS --study STUDY"
}

func (o *output) releaseText(name string, content func(io.Writer) error) error {
	out, err := writeFile(o.results, releaseFolder+name, false, content)
	if err == nil {
		o.manifest.Outputs = append(o.manifest.Outputs, out)
	}
	return err
}

// releaseTable writes a table as Parquet, CSV and Markdown, and describes the
// CSV for others.
func (o *output) releaseTable(f *schema.Frame) (schema.DataResource, error) {
	described := schema.ResultResource(f.Table)
	base := releaseFolder + f.Table.Name
	out, err := writeTable(o.results, base+".parquet", f, o.tableMeta)
	if err != nil {
		return described, err
	}
	csv, err := writeFile(o.results, base+".csv", false, func(w io.Writer) error {
		return parquet.WriteCSV(w, f, parquet.CSVOptions{})
	})
	if err != nil {
		return described, err
	}
	markdown, err := writeFile(o.results, base+".md", false, func(w io.Writer) error { return writeMarkdown(w, f) })
	if err != nil {
		return described, err
	}
	o.manifest.Outputs = append(o.manifest.Outputs, out, csv, markdown)
	described.Bytes, described.Hash = csv.Bytes, "sha256:"+csv.SHA256
	return described, nil
}

// provenance is what a release tells of itself. It lists the other files, so that
// who has the release alone can hold it to what was released.
type provenance struct {
	Caution string               `json:"caution"`
	Study   schema.StudyIdentity `json:"study"`
	Build   schema.Build         `json:"build"`
	Tables  []string             `json:"study_tables_sha256"`
	MinCell int                  `json:"min_cell"`
	Round   int                  `json:"counts_rounded_to,omitempty"`
	Hidden  int                  `json:"rows_hidden"`
	Files   []schema.File        `json:"files"` // by path within the release
}

// releaseProvenance says what the released tables were made from; inputs are
// named by digest alone, since file names can hold initials or dates.
func (o *output) releaseProvenance(hidden int) error {
	p := provenance{
		Caution: schema.Caution, Study: o.manifest.Settings.Study, Build: o.manifest.Build, Tables: o.inputDigests(),
		MinCell: o.manifest.Settings.Disclosure.MinCell, Round: o.manifest.Settings.Disclosure.Rounding, Hidden: hidden,
	}
	p.Files = o.released()
	return o.releaseJSON(provenanceName, p)
}

// inputDigests are the digests of the settings and tables behind the results.
func (o *output) inputDigests() []string {
	inputs := make([]string, 0, len(o.sources))
	for _, in := range o.sources {
		inputs = append(inputs, in.SHA256)
	}
	slices.Sort(inputs) // the order of their names would tell of them
	return inputs
}

// released lists what stands in the release so far, by path within it.
func (o *output) released() []schema.File {
	var files []schema.File
	for _, out := range o.manifest.Outputs {
		if name, ok := strings.CutPrefix(out.Path, releaseFolder); ok {
			files = append(files, schema.File{Path: name, Bytes: out.Bytes, SHA256: out.SHA256})
		}
	}
	return files
}

func (o *output) releaseJSON(name string, v any) error {
	out, err := writeFile(o.results, releaseFolder+name, false, func(w io.Writer) error {
		encoder := json.NewEncoder(w)
		encoder.SetIndent("", " ")
		encoder.SetEscapeHTML(false)
		return encoder.Encode(v)
	})
	if err != nil {
		return err
	}
	o.manifest.Outputs = append(o.manifest.Outputs, out)
	return nil
}
