package main

import (
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

func newMerge() *cobra.Command {
	var out string
	var replace, asJSON bool
	var wait time.Duration
	var say voice
	cmd := &cobra.Command{
		Use:     "merge SHARD… --out RESULTS",
		GroupID: "study",
		Short:   "Put the shards of a study together and make the statistics",
		Long: `Takes the folders that "tonocohort run STUDY --shard I/N" made, in any order, and
leaves in RESULTS what one run of the whole study leaves there, byte for byte. The
study is not needed.

First every shard is held to its manifest, and all of them to one another: one
build (that of this program), one study with the same digests and settings, every
subject once. What is missing, damaged, given twice or of something else is named,
and nothing is written (exit status 7); the last line has the numbers to compute
again as schedulers take them: 2,5-7.

A shared file system may show files of another machine late: with --wait 60s what
is not sealed yet is looked at again for so long before it is called missing.

With --json: what came out as run tells it, else {"of": N, "again": [numbers to
compute again], "faults": [{code, shard, folder, detail}]}, code being missing,
doubled, not_sealed, damaged, not_a_shard, other_build, other_study or
other_division.`,
		Example: `  tonocohort merge SHARDS/* --out RESULTS
  tonocohort merge SHARDS/* --out RESULTS --json | jq .again`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageError(errors.New("missing SHARD"))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				return usageError(errors.New("missing --out RESULTS"))
			}
			if err := say.check(); err != nil {
				return err
			}
			if wait < 0 {
				return usageError(fmt.Errorf("--wait %s: zero or more", wait))
			}
			o := pipeline.Options{Replace: replace, Listed: say.verbose, Version: version, Wait: wait}
			end := say.listen(cmd.ErrOrStderr(), &o)
			outcome, err := pipeline.Merge(cmd.Context(), args, out, o)
			end()
			if err != nil {
				return whyNotMerged(cmd, err, asJSON)
			}
			say.problems(cmd.ErrOrStderr(), outcome.Issues)
			if !say.quiet {
				closingSummary(cmd.ErrOrStderr(), outcome, out)
			}
			if asJSON {
				if err := printJSON(cmd.OutOrStdout(), reportOf(outcome, out)); err != nil {
					return err
				}
			}
			return statusOfRun(outcome)
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "folder for the results (made if need be)")
	say.addTo(cmd)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print what came out, or what must be computed again, as JSON")
	cmd.Flags().DurationVar(&wait, "wait", 0, "how long to wait for shards that are not sealed yet, such as 60s")
	cmd.Flags().BoolVar(&replace, "replace", false, "write over a folder that holds a finished run")
	return cmd
}

// whyNotMerged tells what keeps shards from being merged.
func whyNotMerged(cmd *cobra.Command, err error, asJSON bool) error {
	var faults *pipeline.MergeError
	switch {
	case errors.Is(err, pipeline.ErrSealed):
		return usageError(err)
	case !errors.As(err, &faults):
		return err
	}
	for _, f := range faults.Faults {
		fmt.Fprintln(cmd.ErrOrStderr(), f)
	}
	if asJSON {
		if err := printJSON(cmd.OutOrStdout(), faults); err != nil {
			return err
		}
	}
	return &statusError{exitShards, faults}
}

// statusOfRun is the exit status of finished results.
func statusOfRun(o *pipeline.Outcome) error {
	if o.Blocked != nil {
		return &statusError{exitDisclosure, o.Blocked}
	}
	if o.Manifest.Counts.Recordings.Failed > 0 {
		return &statusError{status: exitPartly}
	}
	return nil
}
