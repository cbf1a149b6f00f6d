package main

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

// A help page fits a terminal of 80 columns, but for examples, which are copied
// whole.
func TestHelpFitsATerminal(t *testing.T) {
	pages := 0
	for _, c := range append([]*cobra.Command{newRoot()}, newRoot().Commands()...) {
		page := c.Long + "\n" + strings.Replace(c.UsageString(), c.Example, "", 1)
		for line := range strings.SplitSeq(page, "\n") {
			if n := utf8.RuneCountInString(line); n > helpWidth && !strings.HasPrefix(line, "Use \"") {
				t.Errorf("%s: %d columns: %s", c.Name(), n, line)
			}
		}
		pages++
	}
	if pages < 15 {
		t.Errorf("%d pages", pages)
	}
}

func TestFlowedKeepsWhatIsSetInColumns(t *testing.T) {
	list := "--merge FILE   puts a file\n               beside another"
	long := strings.Repeat("word ", 40)
	if got := flowed(long + "\nmore\n\n" + list); !strings.HasSuffix(got, "word more\n\n"+list) || strings.Count(got, "\n") != 5 {
		t.Errorf("%q", got)
	}
}
