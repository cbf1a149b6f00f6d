package main

import "github.com/spf13/cobra"

// exitHelp ends every help page.
const exitHelp = `Exit status:
  0    finished; people left out by declared rules are normal
  1    internal error
  2    wrong usage of the command line
  3    finished, but some recording could not be read or computed
  4    structural fault in study.yaml or a table: nothing was written
  5    a difference was found
  6    a release was blocked by a disclosure rule
  7    shards are missing or do not belong together
  130  interrupted`

// addHelp groups the commands by who needs them, and ends each help page with the
// exit statuses, which are the same for all.
func addHelp(root *cobra.Command) {
	root.AddGroup(
		&cobra.Group{ID: "study", Title: "For who processes a study:"},
		&cobra.Group{ID: "statistics", Title: "For who makes the tables:"},
		&cobra.Group{ID: "review", Title: "For who checks the results:"},
		&cobra.Group{ID: "terminal", Title: "About this program:"},
	)
	root.SetHelpCommandGroupID("terminal")
	root.SetCompletionCommandGroupID("terminal")
	root.SetUsageTemplate(root.UsageTemplate() + "\n" + exitHelp + "\n")
}
