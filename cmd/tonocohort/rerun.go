package main

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
	"tonocohort/schema"
)

func newRerun() *cobra.Command {
	var studyDir, from, sample, keyFile string
	var asJSON, quiet bool
	var limit, jobs int
	var recordings recordingsOption
	cmd := &cobra.Command{
		Use:     "rerun RESULTS --study STUDY",
		GroupID: "review",
		Short:   "Compute results again and compare them, cell by cell",
		Long: `Checks by digest that STUDY holds what RESULTS were made from, computes
everything again in a temporary folder with the settings of the manifest, and
compares. One line per stage: same bytes, same values, same digits, differs, or
not recomputed; under it every file that differs, with its first cells.

By the program that made RESULTS the same bytes are promised. Another program or
architecture must agree to 9 digits (5 for the reservoir, 6 for waves): it is said
when that is what was found.

--from tables     no waveforms are needed: the statistics are computed again
                  from the person-level tables in RESULTS; what these cannot
                  tell is listed as not recomputed
--from release    RESULTS is a release folder alone (or holds one): its files
                  are held to their digests, and its numbers to each other:
                  intervals hold their estimates, percentiles ascend, margins
                  and the flow of participants add up, the text forms say what
                  the tables say
--sample 2%       recordings of a share of the subjects alone, chosen by a hash
                  of their ids: a quick spot check that anyone draws alike

With --json: {"from", "same_build", "then", "now", "stages": [{name, verdict,
files, note}], "inputs": [{path, what, expected, found}], "settings": [{path, old,
new}], "comparison": as of compare, "findings": [{file, row, rule, detail}],
"not_recomputed": [], "sampled_of": [computed again, subjects]}.`,
		Example: `  tonocohort rerun RESULTS --study STUDY
  tonocohort rerun RESULTS --study STUDY --sample 2%
  tonocohort rerun RESULTS --from tables
  tonocohort rerun release --from release --json`,
		Args: exactly("RESULTS"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o := pipeline.RerunOptions{From: from, Limit: limit, Options: pipeline.Options{Jobs: jobs, KeyFile: keyFile, Version: version}}
			var err error
			if o.Sample, err = share(sample); err != nil {
				return usageError(err)
			}
			if err := rerunUsage(o, studyDir, recordings); err != nil {
				return usageError(err)
			}
			storage, done, err := recordings.open(cmd.Context())
			if err != nil {
				return err
			}
			defer done()
			o.Storage = storage
			bar := newProgress(cmd.ErrOrStderr(), quiet)
			o.Progress = bar.show
			r, err := pipeline.RerunResults(cmd.Context(), args[0], studyDir, o)
			bar.end()
			if err != nil {
				return whyNoRerun(cmd, studyDir, err)
			}
			if asJSON {
				err = printJSON(cmd.OutOrStdout(), r)
			} else {
				printRerun(cmd.OutOrStdout(), r)
			}
			if err == nil && !r.Reproduced() {
				err = &statusError{exitDifference, fmt.Errorf("%s was not reproduced", args[0])}
			}
			return err
		},
	}
	cmd.Flags().StringVar(&studyDir, "study", "", "the study folder that RESULTS were made from")
	recordings.addTo(cmd)
	cmd.Flags().StringVar(&from, "from", pipeline.FromStudy, "study, tables or release")
	cmd.Flags().StringVar(&sample, "sample", "", "share of the subjects, as 2% or 0.02")
	cmd.Flags().StringVar(&keyFile, "key-file", "", "secret behind keyed pseudonyms and dates")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print what was found as JSON")
	cmd.Flags().BoolVar(&quiet, "quiet", false, "no progress")
	cmd.Flags().IntVar(&limit, "limit", 10, "differences listed of each table; 0: all")
	cmd.Flags().IntVar(&jobs, "jobs", 0, "recordings worked on at once; 0: one per core")
	return cmd
}

// share reads a share that is written as 2% or 0.02; "" is none.
func share(text string) (float64, error) {
	if text == "" {
		return 0, nil
	}
	number, percent := strings.CutSuffix(strings.TrimSpace(text), "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if percent {
		v /= 100
	}
	if err != nil || !(v > 0 && v <= 1) {
		return 0, fmt.Errorf("--sample %s: a share above 0 and up to 100%%", text)
	}
	return v, nil
}

func rerunUsage(o pipeline.RerunOptions, studyDir string, recordings recordingsOption) error {
	switch {
	case o.Limit < 0:
		return fmt.Errorf("--limit %d: zero (all) or more", o.Limit)
	case o.Jobs < 0:
		return fmt.Errorf("--jobs %d: zero (one per core) or more", o.Jobs)
	case o.From != pipeline.FromStudy && o.From != pipeline.FromTables && o.From != pipeline.FromRelease:
		return fmt.Errorf("--from %s: study, tables or release", o.From)
	case o.From == pipeline.FromStudy && studyDir == "":
		return errors.New("missing --study STUDY; without the study, --from tables or --from release")
	case o.From != pipeline.FromStudy && (studyDir != "" || o.Sample > 0 || o.KeyFile != "" || recordings.url != ""):
		return fmt.Errorf("--study, --recordings, --sample and --key-file do not go with --from %s", o.From)
	}
	return nil
}

// whyNoRerun gives the error of a rerun its exit status.
func whyNoRerun(cmd *cobra.Command, studyDir string, err error) error {
	var usage *pipeline.RerunUsageError
	if errors.As(err, &usage) {
		return usageError(usage)
	}
	var structural *pipeline.StructuralError
	var key *pipeline.KeyError
	if errors.As(err, &structural) || errors.As(err, &key) {
		return whyNotRun(cmd, studyDir, err)
	}
	return cannot("rerun", err)
}

// printRerun writes a line per stage, and under it what differs.
func printRerun(out io.Writer, r *pipeline.Rerun) {
	fmt.Fprintf(out, "made by     %s\n", r.Then)
	if r.Now != "" && !r.SameBuild {
		fmt.Fprintf(out, "rerun by    %s: another program or processor, so that %d digits are promised\n", r.Now, schema.DeclaredDigits)
	}
	for _, s := range r.Stages {
		line := fmt.Sprintf("%-11s %s", s.Name, s.Verdict)
		if s.Name == "recordings" || s.Name == "statistics" || s.Name == "release" && r.From != pipeline.FromRelease {
			if s.Verdict != pipeline.NotRecomputed {
				line = fmt.Sprintf("%-11s recomputed · %s", s.Name, s.Verdict)
			}
		}
		if s.Files > 0 {
			line += fmt.Sprintf(" · %d files", s.Files)
		}
		if s.Note != "" {
			line += " · " + s.Note
		}
		fmt.Fprintln(out, line)
	}
	if r.SampledOf[0] < r.SampledOf[1] {
		fmt.Fprintf(out, "sample      %d of %d subjects, chosen by a hash of their ids\n", r.SampledOf[0], r.SampledOf[1])
	}
	for _, d := range r.Inputs {
		fmt.Fprintln(out, "  "+d.String())
	}
	for _, c := range r.Settings {
		fmt.Fprintln(out, "  "+c.String())
	}
	for _, f := range r.Findings {
		fmt.Fprintln(out, "  "+f.String())
	}
	if r.Comparison != nil {
		printComparison(out, onlyDifferent(r.Comparison))
	}
	if r.From == pipeline.FromTables {
		fmt.Fprintln(out, "not recomputed: "+strings.Join(r.NotDone, ", "))
	}
}

// onlyDifferent keeps the files that were not reproduced.
func onlyDifferent(c *pipeline.Comparison) *pipeline.Comparison {
	kept := *c
	kept.Files = nil
	for _, f := range c.Files {
		if !c.Reproduced(f) {
			kept.Files = append(kept.Files, f)
		}
	}
	return &kept
}
