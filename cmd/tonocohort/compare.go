package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

func newCompare() *cobra.Command {
	var asJSON bool
	var limit int
	cmd := &cobra.Command{
		Use:     "compare A B",
		GroupID: "review",
		Short:   "Where do two results folders differ, cell by cell?",
		Long: `Puts two sealed results folders side by side. Tables are compared cell by cell,
rows paired by their keys; everything else by digest. One line per file:

  same bytes       the files are equal
  same values      every cell is equal to the last bit, though the bytes differ
  same digits      every number agrees to 9 digits (6 for waves), as is promised
                   across builds and architectures; within one build this is
                   a difference
  differs          how many cells, and in which columns
  only in A, B     the other folder has no such file

Under a table that differs stand its first differences: table, key, column, old,
new, difference. What the folders were made from is compared by "why".

With --json: {"same_build", "digits", "files": [{path, verdict, rows_a, rows_b,
cells, rows_only_a, rows_only_b, columns, columns_only_a, columns_only_b, note}],
"differences": [{table, key, column, old, new, difference}]}.`,
		Example: `  tonocohort compare RESULTS OTHER
  tonocohort compare RESULTS OTHER --limit 0 --json | jq '.differences[]'`,
		Args: exactly("A", "B"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if limit < 0 {
				return usageError(fmt.Errorf("--limit %d: zero (all) or more", limit))
			}
			c, err := pipeline.Compare(cmd.Context(), args[0], args[1], pipeline.CompareOptions{Limit: limit})
			if err != nil {
				return cannot("compare", err)
			}
			if asJSON {
				err = printJSON(cmd.OutOrStdout(), c)
			} else {
				printComparison(cmd.OutOrStdout(), c)
			}
			if err != nil {
				return err
			}
			if !c.Equal() {
				return &statusError{exitDifference, fmt.Errorf("%s and %s differ: tonocohort why %s %s", args[0], args[1], args[0], args[1])}
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the comparison as JSON")
	cmd.Flags().IntVar(&limit, "limit", 10, "differences listed of each table; 0: all")
	return cmd
}

// printComparison writes a line per file, and under each table its differences.
func printComparison(out io.Writer, c *pipeline.Comparison) {
	rest := c.Differences
	for _, f := range c.Files {
		fmt.Fprintln(out, f)
		listed := 0
		for len(rest) > 0 && rest[0].File == f.Path {
			fmt.Fprintln(out, "  "+rest[0].String())
			rest = rest[1:]
			listed++
		}
		if total := f.Cells + f.RowsOnlyA + f.RowsOnlyB; listed > 0 && total > listed {
			fmt.Fprintf(out, "  … and %d more (--limit 0 shows all)\n", total-listed)
		}
	}
}

// printJSON writes v for a program.
func printJSON(out io.Writer, v any) error {
	encoder := json.NewEncoder(out)
	encoder.SetIndent("", "  ")
	encoder.SetEscapeHTML(false)
	return encoder.Encode(v)
}

// cannot says what was not done and why. A folder that is not sealed, or is not as
// its manifest says, is a difference to a reviewer; any other error is none.
func cannot(do string, err error) error {
	var manifest *pipeline.ManifestError
	var differs *pipeline.DifferenceError
	if errors.As(err, &manifest) || errors.As(err, &differs) {
		return &statusError{exitDifference, fmt.Errorf("cannot %s: %w", do, err)}
	}
	return err
}
