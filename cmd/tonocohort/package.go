package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

func newPackage() *cobra.Command {
	var out string
	var o pipeline.BundleOptions
	cmd := &cobra.Command{
		Use:     "package RESULTS --as FORM --out DIR",
		GroupID: "review",
		Short:   "Hand results on as RO-Crate, BagIt or Data Package",
		Long: `Copies what may leave the study into DIR, in a form that archives and other
programs know. What is written is derived from manifest.json and never read back.

  ro-crate      RO-Crate 1.2, profile Process Run Crate 0.5: the files, the
                program and the run that made them of which inputs
  bagit         a bag by RFC 8493: "sha256sum -c manifest-sha256.txt" checks it
  data-package  csv tables with a Frictionless Data Package 2.0 that describes
                every column

Only release/ is handed on. With --restricted so are the person-level tables and
the manifest with the names of its inputs: that stays with the study. Every file
is held to its digest on the way; a difference ends the command with status 5.

--license is a URL or words; without it a crate says that none was stated.`,
		Example: `  tonocohort package RESULTS --as bagit --out BAG && (cd BAG && sha256sum -c manifest-sha256.txt)
  tonocohort package RESULTS --as ro-crate --out CRATE --license https://creativecommons.org/licenses/by/4.0/`,
		Args: exactly("RESULTS"),
		RunE: func(cmd *cobra.Command, args []string) error {
			forms := pipeline.BundleForms()
			switch {
			case out == "":
				return usageError(errors.New("missing --out DIR"))
			case !slices.Contains(forms, o.As):
				return usageError(fmt.Errorf("--as %s: one of %s", o.As, strings.Join(forms, ", ")))
			}
			n, err := pipeline.Bundle(cmd.Context(), args[0], out, o)
			if errors.Is(err, pipeline.ErrBundleExists) {
				return usageError(err)
			}
			if err != nil {
				return cannot("package "+args[0], err)
			}
			fmt.Fprintf(cmd.ErrOrStderr(), "%d files in %s\n", n, out)
			return nil
		},
	}
	cmd.Flags().StringVar(&o.As, "as", "", strings.Join(pipeline.BundleForms(), ", "))
	cmd.Flags().StringVar(&out, "out", "", "folder to make")
	cmd.Flags().BoolVar(&o.Restricted, "restricted", false, "with the person-level tables and the manifest")
	cmd.Flags().StringVar(&o.License, "license", "", "URL or words")
	return cmd
}
