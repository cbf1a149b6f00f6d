package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"tonocohort/schema"
)

func newSchema() *cobra.Command {
	var format string
	cmd := &cobra.Command{
		Use:     "schema [TABLE…]",
		GroupID: "statistics",
		Short:   "Print the data dictionary: each column, its unit, range and source",
		Long: `Prints the columns of the tables that go in and come out, from the same
declarations that the readers and writers use. Covariates, derived columns and
strata are the study's own: they stand in the dictionary inside each Parquet file.

frictionless prints a Data Package (version 2) of the tables that go in, as a
template for STUDY/datapackage.json; run leaves one of the released tables in
RESULTS/release.

json-schema prints the JSON Schema (draft 2020-12) of RESULTS/manifest.json.`,
		Example: `  tonocohort schema                        all tables, for a person
  tonocohort schema recordings             one table
  tonocohort schema --format json          for a program
  tonocohort schema --format json-schema   of manifest.json
  tonocohort schema --format frictionless subjects visits cuff recordings > STUDY/datapackage.json`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSchema(cmd.OutOrStdout(), format, args)
		},
	}
	cmd.Flags().StringVar(&format, "format", "markdown", "markdown, json, frictionless, or json-schema (of the manifest)")
	return cmd
}

func schemaFormats() []string { return []string{"markdown", "json", "frictionless", "json-schema"} }

// tableNames are the tables of the dictionary.
func tableNames() []string {
	var names []string
	for _, side := range dictionaries() {
		for _, t := range side.Tables {
			names = append(names, t.Name)
		}
	}
	return names
}

// dictionary is one side of the data dictionary.
type dictionary struct {
	Direction string         `json:"direction"` // input or output
	Tables    []schema.Table `json:"tables"`
}

func dictionaries() []dictionary {
	carried := []schema.Column{}
	return []dictionary{
		{"input", append(schema.InputTables(), schema.PairsInput())},
		{"output", []schema.Table{
			schema.RecordingsTable(), schema.SubjectVisitsTable(carried), schema.BeatsTable(), schema.WaveformsTable(),
			schema.EstimatesTable(), schema.UncertaintyTable(), schema.ReviewsTable(), schema.ReadingsTable(),
			schema.ExclusionsTable(), schema.IssuesTable(), schema.FlowTable(), schema.CharacteristicsTable("sex"), schema.SummaryTable(schema.DefaultAnalysis().Strata),
			schema.RegressionTable(), schema.EffectsTable(), schema.ResidualsTable(), schema.ImputationTracesTable(), schema.SensitivityTable(), schema.ComparisonTable(), schema.DisclosureTable(),
			schema.ChangeTable(schema.DefaultAnalysis().Strata), schema.StandardisedTable([]string{"sex"}), schema.PrecisionTable(), schema.LikelySameTable(),
			schema.AgreementTable(), schema.DriftTable(), schema.DeparturesTable(),
			schema.CentilesTable(), schema.CentileParametersTable(), schema.CentileFitTable(), schema.ScoresTable(),
		}},
	}
}

func runSchema(out io.Writer, format string, names []string) error {
	all := dictionaries()
	if format == "frictionless" {
		all = all[:1]
	}
	sides, err := chosen(all, names)
	if err != nil {
		return err
	}
	switch format {
	case "frictionless":
		var resources []schema.DataResource
		for _, t := range sides[0].Tables {
			resources = append(resources, schema.InputResource(t))
		}
		return printJSON(out, schema.NewDataPackage("study-folder", "", "the tables of a study folder, format 1", resources))
	case "json-schema":
		if len(names) > 0 {
			return usageError(fmt.Errorf("json-schema describes the manifest, not the table %s", names[0]))
		}
		_, err := io.WriteString(out, schema.ManifestSchema())
		return err
	case "json":
		return printJSON(out, sides)
	case "markdown":
		for _, side := range sides {
			for _, t := range side.Tables {
				printTable(out, side.Direction, t)
			}
		}
		return nil
	default:
		return usageError(fmt.Errorf("unknown format %q: markdown, json or frictionless; json-schema for the manifest", format))
	}
}

// chosen keeps the named tables; a name may stand on both sides.
func chosen(sides []dictionary, names []string) ([]dictionary, error) {
	if len(names) == 0 {
		return sides, nil
	}
	wanted := map[string]bool{}
	for _, n := range names {
		wanted[n] = false
	}
	var known []string
	for i := range sides {
		var kept []schema.Table
		for _, t := range sides[i].Tables {
			known = append(known, t.Name)
			if _, ok := wanted[t.Name]; ok {
				wanted[t.Name] = true
				kept = append(kept, t)
			}
		}
		sides[i].Tables = kept
	}
	for _, n := range names {
		if !wanted[n] {
			return nil, unknownName("table", n, known)
		}
	}
	return sides, nil
}

// unknownName says that there is no table or column of that name.
func unknownName(what, name string, known []string) error {
	if near, ok := schema.Nearest(name, known); ok {
		return usageError(fmt.Errorf("no %s %q; did you mean %s?", what, name, near))
	}
	return usageError(fmt.Errorf("no %s %q: one of %s", what, name, strings.Join(known, ", ")))
}

func printTable(out io.Writer, direction string, t schema.Table) {
	fmt.Fprintf(out, "## %s (%s): %s\n\nOne row per %s.", t.Name, direction, t.Meaning, t.RowPer)
	if t.Restricted {
		fmt.Fprint(out, " Holds single persons: restricted, stays with the study.")
	}
	fmt.Fprint(out, "\n\n| column | kind | unit | range or levels | meaning | source |\n|---|---|---|---|---|---|\n")
	for _, c := range t.Columns {
		name := c.Name
		if c.Required {
			name += " *"
		}
		fmt.Fprintf(out, "| %s | %s | %s | %s | %s | %s |\n", name, c.Kind, c.Unit, bounds(c), c.Meaning, c.Source)
	}
	if direction == "input" {
		fmt.Fprint(out, "\n\\* required\n")
	}
	fmt.Fprintln(out)
}

func bounds(c schema.Column) string {
	switch {
	case len(c.Levels) > 0:
		return strings.Join(c.Levels, ", ")
	case c.Low != nil && c.High != nil:
		return fmt.Sprintf("%g to %g", *c.Low, *c.High)
	default:
		return ""
	}
}
