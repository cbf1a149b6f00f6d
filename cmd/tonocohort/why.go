package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

func newWhy() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "why A B",
		GroupID: "review",
		Short:   "What sets two results folders apart, and what can that reach?",
		Long: `Compares the manifests of two results folders: the program, every setting and
the digest of every input; says of each that differs which tables and columns it
can change; and holds the files that do differ to that. What nothing explains is
named, and is a difference (exit status 5).

With --json: {"build": [{path, old, new}], "settings": [{path, old, new, reaches:
[{table, columns}]}], "inputs": as settings, "sources": [{path, old, new}],
"unexplained": [{table, columns}], "files_that_differ": n}.`,
		Example: `  tonocohort why RESULTS OTHER`,
		Args:    exactly("A", "B"),
		RunE: func(cmd *cobra.Command, args []string) error {
			w, err := pipeline.WhyDiffer(cmd.Context(), args[0], args[1])
			if err != nil {
				return cannot("say why", err)
			}
			if asJSON {
				if err := printJSON(cmd.OutOrStdout(), w); err != nil {
					return err
				}
			} else {
				for _, line := range w.Lines() {
					fmt.Fprintln(cmd.OutOrStdout(), line)
				}
			}
			if n := len(w.Unexplained); n > 0 {
				return &statusError{exitDifference, fmt.Errorf("%d files differ and nothing that they were made from says why", n)}
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the answer as JSON")
	return cmd
}
