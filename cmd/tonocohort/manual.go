package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

func newManual() *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:     "manual --out DIR",
		GroupID: "terminal",
		Short:   "Write the manual pages, one for each command",
		Long: `Writes a page of section 1 for the program and for each command into DIR, from
the same texts as --help. DIR/tonocohort.1 is read by "man DIR/tonocohort.1".`,
		Example: `  tonocohort manual --out ~/.local/share/man/man1 && man tonocohort-run`,
		Args:    exactly(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if out == "" {
				return usageError(errors.New("missing --out DIR"))
			}
			if err := os.MkdirAll(out, 0o777); err != nil {
				return err
			}
			pages := manualPages(cmd.Root())
			for _, p := range pages {
				if err := os.WriteFile(filepath.Join(out, p.name), []byte(p.text), 0o666); err != nil {
					return err
				}
			}
			fmt.Fprintf(cmd.ErrOrStderr(), "%d pages in %s\n", len(pages), out)
			return nil
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "folder for the pages (made if need be)")
	return cmd
}

type manualPage struct{ name, text string }

// manualPages are the page of the program and one of each command, in the macros
// of mdoc(7): https://mandoc.bsd.lv/mdoc/.
func manualPages(root *cobra.Command) []manualPage {
	pages := []manualPage{{root.Name() + ".1", page(root)}}
	for _, c := range root.Commands() {
		if described(c) {
			pages = append(pages, manualPage{pageName(c) + ".1", page(c)})
		}
	}
	return pages
}

// described tells the commands that have a page from those that cobra adds.
func described(c *cobra.Command) bool { return c.GroupID != "" && c.Name() != "help" && !c.Hidden }

func pageName(c *cobra.Command) string { return strings.ReplaceAll(c.CommandPath(), " ", "-") }

func page(c *cobra.Command) string {
	var b strings.Builder
	line := func(macro ...string) { b.WriteString("." + strings.Join(macro, " ") + "\n") }
	// The page has no day: the same program gives the same bytes.
	line("Dd", "$Mdocdate$")
	line("Dt", strings.ToUpper(quoted(pageName(c)))+" 1")
	line("Os")
	line("Sh", "NAME")
	line("Nm", quoted(pageName(c)))
	line("Nd", roff(strings.TrimRight(c.Short, ".?")))
	line("Sh", "SYNOPSIS")
	verbatim(&b, synopsis(c))
	line("Sh", "DESCRIPTION")
	verbatim(&b, c.Long)
	if commands := commandList(c); len(commands) > 0 {
		line("Sh", "COMMANDS")
		definitions(&b, commands)
	}
	if flags := flagList(c); len(flags) > 0 {
		line("Sh", "OPTIONS")
		definitions(&b, flags)
	}
	line("Sh", "EXIT STATUS")
	_, statuses, _ := strings.Cut(exitHelp, "\n")
	verbatim(&b, statuses)
	if c.Example != "" {
		line("Sh", "EXAMPLES")
		verbatim(&b, c.Example)
	}
	if c.HasParent() {
		line("Sh", "SEE ALSO")
		b.WriteString(c.Root().Name() + "(1)\n")
	}
	return b.String()
}

func synopsis(c *cobra.Command) string {
	if c.HasAvailableSubCommands() {
		return c.CommandPath() + " COMMAND …"
	}
	return c.UseLine()
}

func commandList(c *cobra.Command) [][2]string {
	var list [][2]string
	for _, sub := range c.Commands() {
		if described(sub) || c.HasParent() {
			list = append(list, [2]string{sub.Name(), sub.Short})
		}
	}
	return list
}

func flagList(c *cobra.Command) [][2]string {
	var list [][2]string
	c.NonInheritedFlags().VisitAll(func(f *pflag.Flag) {
		if f.Hidden {
			return
		}
		name := "--" + f.Name
		if f.Shorthand != "" {
			name = "-" + f.Shorthand + ", " + name
		}
		kind, meaning := pflag.UnquoteUsage(f)
		list = append(list, [2]string{strings.TrimSpace(name + " " + kind), meaning})
	})
	return list
}

func definitions(b *strings.Builder, list [][2]string) {
	b.WriteString(".Bl -tag -width Ds\n")
	for _, d := range list {
		fmt.Fprintf(b, ".It %s\n%s", quoted(d[0]), filled(d[1]))
	}
	b.WriteString(".El\n")
}

// verbatim keeps the lines of a help text, which are laid out already.
func verbatim(b *strings.Builder, text string) {
	b.WriteString(".Bd -literal\n")
	for l := range strings.SplitSeq(strings.Trim(text, "\n"), "\n") {
		b.WriteString(roff(l))
		b.WriteByte('\n')
	}
	b.WriteString(".Ed\n")
}

// filled breaks a running text into short lines, which the formatter fills anew.
func filled(text string) string {
	var b strings.Builder
	width := 0
	for i, word := range strings.Fields(text) {
		switch {
		case i > 0 && width+len(word) > 68:
			b.WriteByte('\n')
			width = 0
		case i > 0:
			b.WriteByte(' ')
		}
		if width == 0 {
			word = roff(word)
		} else {
			word = escaped(word)
		}
		b.WriteString(word)
		width += len(word) + 1
	}
	b.WriteByte('\n')
	return b.String()
}

// roff escapes a line what the formatter would take for its own: backslashes, hyphens
// that are minus signs, and a dot or apostrophe that opens a line.
func roff(text string) string {
	text = escaped(text)
	if strings.HasPrefix(text, ".") {
		text = `\&` + text
	}
	return text
}

func escaped(text string) string {
	return strings.NewReplacer(`\`, `\e`, "-", `\-`, "`", `\(ga`, "'", `\(aq`, "…", `\&...`, "·", `\(pc`, "°", `\(de`, "−", `\(mi`, "–", `\(en`, "±", `\(+-`, "²", `\(S2`).Replace(text)
}

// quoted is text as one argument of a macro.
func quoted(text string) string {
	return `"` + strings.ReplaceAll(roff(text), `"`, `\(dq`) + `"`
}
