package main

import (
	"fmt"
	"io"

	"tonocohort/schema"
)

// printIssues writes issues for a person, in their order. Unless all is set,
// issues of one rule in one file and column that recur are shown once, with
// their number and first place.
func printIssues(out io.Writer, issues []schema.Issue, all bool) {
	type kind struct{ size, file, code, name string }
	const shown = 3
	colours := paint(out)
	seen := map[kind]int{}
	total := map[kind]int{}
	of := func(i schema.Issue) kind {
		k := kind{string(i.Size), i.File, i.Code, i.Name}
		if i.Size == schema.SizeRecording {
			k.file = "" // every recording has a file of its own
		}
		return k
	}
	for _, i := range issues {
		total[of(i)]++
	}
	for _, i := range issues {
		k := of(i)
		seen[k]++
		switch {
		case all || seen[k] <= shown:
			fmt.Fprintf(out, "%s %s\n", colours.size(i.Size), i)
		case seen[k] == shown+1:
			fmt.Fprintf(out, "%s … and %d more of %s (--all shows them)\n", colours.size(i.Size), total[k]-shown, i.Code)
		}
	}
}
