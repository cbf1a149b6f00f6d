package main

import "github.com/spf13/cobra"

// reviewCommands are those of a reader who has the results and did not make them.
func reviewCommands() []*cobra.Command {
	return []*cobra.Command{newVerify(), newSheets(), newRerun(), newCompare(), newWhy(), newPackage()}
}
