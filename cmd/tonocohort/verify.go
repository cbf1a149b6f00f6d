package main

import (
	"encoding/json"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

func newVerify() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:     "verify RESULTS",
		GroupID: "review",
		Short:   "Do the files still match the manifest?",
		Long: `Recomputes the digest of every file that manifest.json names, decodes every
table and recomputes the digest of its rows, checks the manifest's own content
digest and that its counts add up, and names files that nobody promised.

With --json: {"differences": [{path, what, expected, found}], "files": n,
"shard": of part of a study: {number, of, first, total, from_id, to_id}, else null}.`,
		Example: `  tonocohort verify RESULTS`,
		Args:    exactly("RESULTS"),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, differences, err := pipeline.Verify(cmd.Context(), args[0])
			if errors.Is(err, pipeline.ErrNoFolder) {
				return err
			}
			if err != nil {
				return &statusError{exitDifference, fmt.Errorf("cannot verify %s: %w", args[0], err)}
			}
			out := cmd.OutOrStdout()
			if asJSON {
				if differences == nil {
					differences = []pipeline.Difference{}
				}
				encoder := json.NewEncoder(out)
				encoder.SetIndent("", "  ")
				if err := encoder.Encode(map[string]any{"differences": differences, "files": len(m.Outputs), "shard": m.Shard}); err != nil {
					return err
				}
			} else {
				for _, d := range differences {
					fmt.Fprintln(out, d)
				}
				if about := pipeline.AboutShard(m); about != "" {
					fmt.Fprintln(out, about)
				}
				if len(differences) == 0 {
					fmt.Fprintf(out, "%d files and the manifest are as the run left them (content %s).\n", len(m.Outputs), m.Content)
				}
			}
			if len(differences) > 0 {
				return &statusError{exitDifference, fmt.Errorf("%d differences in %s", len(differences), args[0])}
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the differences as JSON")
	return cmd
}
