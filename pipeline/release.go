package pipeline

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/tabulate"
	"tonocohort/schema"
)

const releaseFolder = "release/"

// ErrDisclosure says that the study wants no release where a rule hides a cell.
type ErrDisclosure struct{ Hidden int }

func (e *ErrDisclosure) Error() string {
	return fmt.Sprintf("the release was blocked: %d rows rest on fewer people than disclosure.min_cell allows", e.Hidden)
}

// release writes what may leave the study: statistics in which every cell rests
// on enough people, and where they come from, by digests alone.
func (o *output) release(results tabulate.Results) error {
	disclosure := o.manifest.Settings.Disclosure
	minimum := disclosure.MinCell
	hidden := 0
	frames := results.Frames()
	for i, f := range frames {
		if f == results.Flow {
			frames[i] = disclosableFlow(f, minimum)
			continue
		}
		checked, n := disclosable(f, minimum)
		hidden += n
		frames[i] = checked
	}
	if hidden > 0 && disclosure.OnViolation == "block" {
		o.blocked = &ErrDisclosure{hidden}
		return nil
	}
	for _, f := range frames {
		if err := o.releaseTable(f); err != nil {
			return err
		}
	}
	return o.releaseProvenance(hidden)
}

// releaseTable writes a table as Parquet, CSV and Markdown.
func (o *output) releaseTable(f *schema.Frame) error {
	base := releaseFolder + f.Table.Name
	out, err := writeTable(o.results, base+".parquet", f, o.tableMeta)
	if err != nil {
		return err
	}
	csv, err := writeFile(o.results, base+".csv", false, func(w io.Writer) error {
		return parquet.WriteCSV(w, f, parquet.CSVOptions{})
	})
	if err != nil {
		return err
	}
	markdown, err := writeFile(o.results, base+".md", false, func(w io.Writer) error { return writeMarkdown(w, f) })
	if err != nil {
		return err
	}
	o.manifest.Outputs = append(o.manifest.Outputs, out, csv, markdown)
	return nil
}

// releaseProvenance says what the released tables were made from; inputs are
// named by digest alone, since file names can hold initials or dates.
func (o *output) releaseProvenance(hidden int) error {
	inputs := make([]string, 0, len(o.sources))
	for _, in := range o.sources {
		inputs = append(inputs, in.SHA256)
	}
	provenance := struct {
		Caution string               `json:"caution"`
		Study   schema.StudyIdentity `json:"study"`
		Build   schema.Build         `json:"build"`
		Tables  []string             `json:"study_tables_sha256"`
		MinCell int                  `json:"min_cell"`
		Hidden  int                  `json:"rows_hidden"`
	}{schema.Caution, o.manifest.Settings.Study, o.manifest.Build, inputs, o.manifest.Settings.Disclosure.MinCell, hidden}
	out, err := writeFile(o.results, releaseFolder+"provenance.json", false, func(w io.Writer) error {
		encoder := json.NewEncoder(w)
		encoder.SetIndent("", " ")
		encoder.SetEscapeHTML(false)
		return encoder.Encode(provenance)
	})
	if err != nil {
		return err
	}
	o.manifest.Outputs = append(o.manifest.Outputs, out)
	return nil
}

// suppressed marks a hidden cell: not zero, and not missing.
const suppressed = "suppressed: fewer people than the minimum cell"

// disclosable returns a copy of a table of statistics without what rests on
// too few people: rows of fewer than minimum people, shares whose people on
// either side are fewer, missing counts between 1 and minimum, and extreme
// percentiles of fewer than minimum people beyond them. An interval of a
// percentile is itself a person's value and does not leave the study.
func disclosable(f *schema.Frame, minimum int) (*schema.Frame, int) {
	out := schema.NewFrame(f.Table, f.N)
	out.Append(f)
	hidden := 0
	for row := range out.N {
		n := out.Number(row, "n")
		if few(n, minimum) || tooExtreme(out, row, n, minimum) {
			hidden++
			for _, name := range []string{"estimate", "low", "high", "level", "n", "n_missing"} {
				out.SetNumber(row, name, math.NaN())
			}
			out.SetText(row, "note", suppressed)
			continue
		}
		if m := out.Number(row, "n_missing"); m > 0 && m < float64(minimum) {
			out.SetNumber(row, "n_missing", math.NaN())
		}
		if strings.Contains(out.TextAt(row, "method"), "order statistics") {
			out.SetNumber(row, "low", math.NaN())
			out.SetNumber(row, "high", math.NaN())
			out.SetNumber(row, "level", math.NaN())
		}
	}
	return out, hidden
}

func few(n float64, minimum int) bool { return !(n >= float64(minimum)) }

// tooExtreme reports a percentile with fewer than minimum people beyond it, or
// a share with fewer than minimum people on one of its sides; nobody at all on
// a side is as telling as a few.
func tooExtreme(f *schema.Frame, row int, n float64, minimum int) bool {
	statistic := f.TextAt(row, "statistic")
	if strings.HasPrefix(statistic, "prevalence") {
		p := f.Number(row, "estimate")
		return few(math.Round(n*p), minimum) || few(math.Round(n*(1-p)), minimum)
	}
	beyond, ok := map[string]float64{"p5": 0.05, "p95": 0.05, "p10": 0.10, "p90": 0.10, "n_missing": math.NaN()}[statistic]
	if statistic == "n_missing" {
		m := f.Number(row, "estimate")
		return m > 0 && m < float64(minimum)
	}
	return ok && few(math.Round(beyond*n), minimum)
}

// disclosableFlow merges the reasons of a stage that took fewer than minimum
// people, and hides the counts of a stage whose losses stay below it.
func disclosableFlow(f *schema.Frame, minimum int) *schema.Frame {
	out := schema.NewFrame(f.Table, f.N)
	for start := 0; start < f.N; {
		end := start
		for end < f.N && f.Number(end, "order") == f.Number(start, "order") {
			end++
		}
		flowStage(out, f, start, end, minimum)
		start = end
	}
	return out
}

func flowStage(out, f *schema.Frame, start, end, minimum int) {
	small := 0.0
	for row := start; row < end; row++ {
		n := f.Number(row, "n")
		if n > 0 && n < float64(minimum) {
			small += n
			continue
		}
		out.CopyRow(out.AddRow(), f, row)
	}
	if small == 0 {
		return
	}
	row := out.AddRow()
	out.CopyRow(row, f, start)
	out.SetText(row, "reason", "other reasons")
	out.SetNumber(row, "n", small)
	if small < float64(minimum) {
		out.SetNumber(row, "n", math.NaN())
		out.SetText(row, "reason", "other reasons ("+suppressed+")")
		for r := range out.N {
			if out.Number(r, "order") == f.Number(start, "order") {
				out.SetNumber(r, "out", math.NaN())
			}
		}
	}
}
