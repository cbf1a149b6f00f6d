package main

import (
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

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
	usage := strings.NewReplacer(".FlagUsages |", ".FlagUsagesWrapped 80 |").Replace(root.UsageTemplate())
	root.SetUsageTemplate(usage + "\n" + exitHelp + "\n")
	for _, c := range append(root.Commands(), root) {
		c.Long = flowed(c.Long)
	}
}

// helpWidth is how wide a terminal is at least: longer lines break anywhere.
const helpWidth = 80

// flowed sets the running text of a help page in lines of helpWidth; what is
// indented or set in columns stays as it is.
func flowed(text string) string {
	var out []string
	words, width := []string(nil), 0
	flush := func() {
		if len(words) > 0 {
			out = append(out, strings.Join(words, " "))
		}
		words, width = nil, 0
	}
	for line := range strings.SplitSeq(text, "\n") {
		if line == "" || line[0] == ' ' || strings.Contains(line, "  ") {
			flush()
			out = append(out, line)
			continue
		}
		for _, word := range strings.Fields(line) {
			n := utf8.RuneCountInString(word)
			if width+n >= helpWidth {
				flush()
			}
			words, width = append(words, word), width+n+1
		}
	}
	flush()
	return strings.Join(out, "\n")
}
