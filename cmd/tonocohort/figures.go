package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

func newFigures() *cobra.Command {
	var out string
	o := pipeline.FigureOptions{}
	cmd := &cobra.Command{
		Use:     "figures RESULTS [FIGURE...] --out DIR",
		GroupID: "statistics",
		Short:   "Draw the figures as PNG, at the resolution that a journal asks for",
		Long: `Draws the figures of RESULTS/release/figures as PNG and writes each to a file in
DIR, over one of the same name; with FIGUREs those alone (the shell completes their
names). They are drawn from the released tables, which are held to the manifest
first: a difference ends the command with status 5.

With --restricted also those of RESULTS/tables/figures, which show single persons.
They come into DIR/restricted, say in the picture that they stay with the study, and
are drawn from the person-level tables.

Each says below what its bars are, of whom it is, and whether others may see it; the
PNG has this in its text chunks too (Title, Description, Warning), and its
resolution. Letters beyond Latin, Greek and Cyrillic can be missing from a PNG; the
SVG has them all.`,
		Example: `  tonocohort figures RESULTS --out plates --dpi 600
  tonocohort figures RESULTS flow_subjects --out plates
  tonocohort figures RESULTS age_central_pp_mmhg --restricted --out plates`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageError(errors.New("missing RESULTS"))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case out == "":
				return usageError(errors.New("missing --out DIR"))
			case !slices.Contains(pipeline.FigureForms(), o.Form):
				return usageError(fmt.Errorf("--as %s: one of %s", o.Form, strings.Join(pipeline.FigureForms(), ", ")))
			case o.DPI < pipeline.LeastDPI || o.DPI > pipeline.MostDPI:
				return usageError(fmt.Errorf("--dpi %d: %d to %d dots per inch", o.DPI, pipeline.LeastDPI, pipeline.MostDPI))
			}
			if len(args) > 1 {
				o.Names = args[1:]
			}
			names, err := pipeline.DrawFigures(cmd.Context(), args[0], out, o)
			var unknown *pipeline.UnknownNameError
			switch {
			case errors.As(err, &unknown):
				if all, err := pipeline.FigureNames(args[0], true); err == nil && !o.Restricted && slices.Contains(all, unknown.Name) {
					return usageError(fmt.Errorf("the figure %s shows single persons and stays with the study: it is drawn with --restricted alone", unknown.Name))
				}
				return unknownName(unknown.What, unknown.Name, unknown.Known)
			case errors.Is(err, pipeline.ErrInsideResults):
				return usageError(err)
			case err != nil:
				return cannot("draw the figures of "+args[0], err)
			}
			tellFigures(cmd.ErrOrStderr(), names, out)
			return nil
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "folder for the figures (made if need be)")
	cmd.Flags().StringVar(&o.Form, "as", pipeline.FigurePNG, strings.Join(pipeline.FigureForms(), " or "))
	cmd.Flags().BoolVar(&o.Restricted, "restricted", false, "also the figures that show single persons, into DIR/"+pipeline.RestrictedFigures)
	cmd.Flags().IntVar(&o.DPI, "dpi", 300, "dots per inch of a PNG")
	return cmd
}

// tellFigures names a few files, and counts many.
func tellFigures(w io.Writer, names []string, out string) {
	of := map[string][]string{}
	for _, name := range names {
		dir, file := filepath.Split(name)
		of[dir] = append(of[dir], file)
	}
	for _, dir := range slices.Sorted(maps.Keys(of)) {
		files, whose := of[dir], ""
		text := strings.Join(files, ", ")
		if len(files) > 3 {
			text = fmt.Sprintf("%d figures", len(files))
		}
		if dir != "" {
			whose = ": single persons, for the study alone"
		}
		fmt.Fprintf(w, "%s in %s%s\n", text, filepath.Join(out, dir), whose)
	}
}

// figuresOf offers the figures of the results folder that is the first argument.
func figuresOf(cmd *cobra.Command, args []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
	restricted, err := cmd.Flags().GetBool("restricted")
	if err != nil {
		return nil, cobra.ShellCompDirectiveError
	}
	names, err := pipeline.FigureNames(args[0], restricted)
	if err != nil {
		return nil, cobra.ShellCompDirectiveError
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}
