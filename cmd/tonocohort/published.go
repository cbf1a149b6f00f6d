package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"tonocohort/schema/published"
)

func newPublished() *cobra.Command {
	return &cobra.Command{
		Use:     "published [SET]",
		GroupID: "statistics",
		Short:   "List the published values that ship, or print one set as its file",
		Long: `Without SET: every published set that analysis.compare_with can name, with its
source, how it was read and what it holds. With SET: its file, which shows the
format for a set of your own (a file of the study folder that ends in .csv, named
in analysis.compare_with, there or as {name: ours, file: refs/ours.csv}).

The format: lines "# key: text" (source, reading, selection and ages are
required; kind is means, equations, coefficients or limits), then the header line
of the kind and a row per value:
  means         variable,sex,age_band,n,mean,sd,status,note
  equations     variable,sex,scale,part,term,coefficient,status,note
  coefficients  variable,term,per,coefficient,se,low,high,status,note
  limits        variable,sex,age_band,side,limit,kind,effect,source,status,note
A variable has the name of our column of the same definition and unit; sex is
female, male or all; an age band is in completed years: <20, 20-29, >=80 or all;
status is read, second_hand or suspect.`,
		Example: `  tonocohort published
  tonocohort published mceniery2005 > ours.csv`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageError(fmt.Errorf("unexpected %q after SET", args[1]))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			out := cmd.OutOrStdout()
			if len(args) == 0 {
				return listPublished(out)
			}
			data, err := published.File(args[0])
			if err != nil {
				return usageError(err)
			}
			_, err = out.Write(data)
			return err
		},
	}
}

func listPublished(out io.Writer) error {
	for _, name := range published.Names() {
		s, err := published.Open(name)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "%s (%s)\n  source: %s\n  reading: %s\n", name, s.Kind, s.Source, s.Reading)
		if s.SelectionNote != "" {
			fmt.Fprintf(out, "  people: %s\n", s.SelectionNote)
		}
	}
	return nil
}
