package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
	"tonocohort/schema"
)

// version is what releases set with -ldflags "-X main.version=…".
var version = "development"

func newRun() *cobra.Command {
	var out, keyFile, shard string
	var recordings recordingsOption
	var jobs int
	var replace, preview, keepWork, asJSON bool
	var say voice
	cmd := &cobra.Command{
		Use:     "run STUDY --out RESULTS",
		GroupID: "study",
		Short:   "The main job: read, estimate, tabulate, compare, seal",
		Long: `Reads the study folder, works the aortic pressure back from every recording and
writes RESULTS: tables/ (restricted), release/ (checked for disclosure, for
others) and, last, manifest.json. A folder without a manifest is not finished.

The results do not depend on --jobs. A recording that cannot be read or computed
is left out with its reason, and the rest goes on (exit status 3).

A run that is stopped, by Ctrl-C, a kill or a full disk, loses no more than the
subjects it was at: the same command goes on from what RESULTS/.work holds, and
ends with the same bytes. Taken from there is what rests on the same program and
settings, the same rows of the tables and the same content of every file.
--preview says what would be computed and why, and writes nothing. --keep-work
keeps RESULTS/.work after the end, for a run after a change: with --replace it
computes again what the change reaches.

With --json: {"results", "content", "sealed", "released", "counts", "left_out":
[{status, reason, n}], "subjects_kept": n, "shard": of a shard alone}; with --preview
{"subjects", "recordings", "sealed", "kept", "reasons": [{reason, subjects,
recordings, examples}], "changes": [{path, old, new}]}.

Where the study has privacy: {ids: keyed} or {date_shift: keyed}, --key-file names
a file with at least 32 secret bytes that lies neither in STUDY nor in RESULTS.
The same key gives the same pseudonyms; the manifest has its id, never the key.

--shard I/N computes the I-th of N contiguous ranges of the sorted subjects, on a
machine of its own: RESULTS then holds the person-level tables of these, sealed,
and no statistics. "tonocohort merge" puts shards together. A shard ends with 0
whatever it left out; one that is finished already and whose inputs are the same
is left as it is.`,
		Example: `  tonocohort run STUDY --out RESULTS
  tonocohort run STUDY --out RESULTS --jobs 4 --quiet
  tonocohort run STUDY --out RESULTS --preview
  tonocohort run STUDY --out SHARDS/shard=3 --shard 3/64
  openssl rand -hex 32 > KEY && tonocohort run STUDY --out RESULTS --key-file KEY`,
		Args: exactly("STUDY"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				return usageError(errors.New("missing --out RESULTS"))
			}
			if jobs < 0 {
				return usageError(fmt.Errorf("--jobs %d: zero (one per core) or more", jobs))
			}
			if err := say.check(); err != nil {
				return err
			}
			o := pipeline.Options{Jobs: jobs, Replace: replace, KeepWork: keepWork, Listed: say.verbose, Version: version, KeyFile: keyFile}
			if shard != "" {
				var err error
				if o.Shard, err = pipeline.ParseShard(shard); err != nil {
					return usageError(err)
				}
			}
			storage, done, err := recordings.open(cmd.Context())
			if err != nil {
				return err
			}
			defer done()
			o.Storage = storage
			if preview {
				return runPreview(cmd, args[0], out, o, asJSON)
			}
			outcome, err := runStudy(cmd, args[0], out, o, say)
			if err != nil {
				return err
			}
			if asJSON {
				if err := printJSON(cmd.OutOrStdout(), reportOf(outcome, out)); err != nil {
					return err
				}
			}
			if outcome.Manifest.Shard != nil {
				return nil // a scheduler would run it again if it ended with another status
			}
			return statusOfRun(outcome)
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "folder for the results (made if need be)")
	cmd.Flags().StringVar(&keyFile, "key-file", "", "secret behind keyed pseudonyms and dates")
	recordings.addTo(cmd)
	cmd.Flags().StringVar(&shard, "shard", "", "I/N: compute the I-th of N parts of the study")
	cmd.Flags().IntVar(&jobs, "jobs", 0, "recordings worked on at once; 0: one per core")
	say.addTo(cmd)
	cmd.Flags().BoolVar(&preview, "preview", false, "say what would be computed and why; write nothing")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print what came out, or the preview, as JSON")
	cmd.Flags().BoolVar(&keepWork, "keep-work", false, "keep RESULTS/.work after the end")
	cmd.Flags().BoolVar(&replace, "replace", false, "write over a folder that holds a finished run")
	return cmd
}

// runStudy runs with progress on standard error and tells what came out.
func runStudy(cmd *cobra.Command, studyDir, out string, o pipeline.Options, say voice) (*pipeline.Outcome, error) {
	end := say.listen(cmd.ErrOrStderr(), &o)
	outcome, err := pipeline.Run(cmd.Context(), studyDir, out, o)
	end()
	if err != nil {
		return nil, whyNotRun(cmd, studyDir, err)
	}
	if outcome.Stands {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s was finished before, from the same inputs: nothing to do (--replace computes it again)\n", out)
		return outcome, nil
	}
	say.problems(cmd.ErrOrStderr(), outcome.Issues)
	if !say.quiet {
		closingSummary(cmd.ErrOrStderr(), outcome, out)
	}
	return outcome, nil
}

// report is what a command that makes results tells a program.
type report struct {
	Results  string                 `json:"results"`
	Content  string                 `json:"content"`
	Sealed   bool                   `json:"sealed"`
	Released bool                   `json:"released"`
	Shard    *schema.Shard          `json:"shard,omitempty"`
	Counts   schema.Counts          `json:"counts"`
	LeftOut  []pipeline.ReasonCount `json:"left_out"`
	Kept     int                    `json:"subjects_kept"`
}

func reportOf(o *pipeline.Outcome, out string) report {
	return report{Results: out, Content: o.Manifest.Content, Sealed: true, Released: o.Blocked == nil && o.Manifest.Shard == nil, Shard: o.Manifest.Shard,
		Counts: o.Manifest.Counts, LeftOut: append([]pipeline.ReasonCount{}, o.Reasons...), Kept: o.Taken}
}

// runPreview tells what a run would do.
func runPreview(cmd *cobra.Command, studyDir, out string, o pipeline.Options, asJSON bool) error {
	p, err := pipeline.PreviewRun(cmd.Context(), studyDir, out, o)
	if err != nil {
		return whyNotRun(cmd, studyDir, err)
	}
	if asJSON {
		return printJSON(cmd.OutOrStdout(), p)
	}
	for _, line := range p.Lines() {
		fmt.Fprintln(cmd.OutOrStdout(), line)
	}
	return nil
}

// whyNotRun gives the error of a run its exit status.
func whyNotRun(cmd *cobra.Command, studyDir string, err error) error {
	var structural *pipeline.StructuralError
	var badKey *pipeline.KeyError
	switch {
	case errors.As(err, &structural):
		printIssues(cmd.ErrOrStderr(), onlyStructural(structural.Issues), true)
		return &statusError{exitStructural, fmt.Errorf("%w (tonocohort check %s shows everything)", err, studyDir)}
	case errors.Is(err, pipeline.ErrSealed):
		return usageError(err)
	case errors.As(err, &badKey):
		return usageError(badKey)
	}
	return err
}

func onlyStructural(issues []schema.Issue) []schema.Issue {
	var kept []schema.Issue
	for _, i := range issues {
		if i.Size == schema.SizeStructural {
			kept = append(kept, i)
		}
	}
	return kept
}

// closingSummary says in about ten lines what came out and what to do next.
func closingSummary(w io.Writer, o *pipeline.Outcome, out string) {
	c := o.Manifest.Counts
	if o.Taken > 0 {
		fmt.Fprintf(w, "%d of %d subjects were computed by an earlier run and still hold\n", o.Taken, c.Subjects.Found)
	}
	fmt.Fprintf(w, "recordings: %d found, %d used, %d excluded, %d failed\n", c.Recordings.Found, c.Recordings.Used, c.Recordings.Excluded, c.Recordings.Failed)
	for i, r := range o.Reasons {
		if i == 4 {
			fmt.Fprintf(w, "  and %d further reasons: tonocohort export %s exclusions\n", len(o.Reasons)-i, out)
			break
		}
		fmt.Fprintf(w, "  %d %s: %s\n", r.N, r.Status, r.Reason)
	}
	fmt.Fprintf(w, "subjects: %d found, %d with a usable visit; visits: %d of %d usable\n", c.Subjects.Found, c.Subjects.Used, c.Visits.Used, c.Visits.Found)
	if s := o.Manifest.Shard; s != nil {
		fmt.Fprintf(w, "shard %d of %d in %s, which stays with the study; next, when all are there: tonocohort merge SHARD… --out RESULTS\n", s.Number, s.Of, out)
		return
	}
	for _, line := range pipeline.Headlines(o.Summary) {
		fmt.Fprintln(w, line)
	}
	fmt.Fprintf(w, "results in %s; release/ is for others, tables/ stays with the study\n", out)
	fmt.Fprintf(w, "next: open %s/release/report.html · tonocohort verify %s\n", out, out)
}
