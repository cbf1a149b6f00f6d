package main

import (
	"slices"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
	"tonocohort/schema/published"
)

// completer offers what may stand in one place of a command line.
type completer = cobra.CompletionFunc

// folders leaves the shell to offer folders.
func folders(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
	return nil, cobra.ShellCompDirectiveFilterDirs
}

// files leaves the shell to offer files with these endings.
func files(endings ...string) completer {
	return cobra.FixedCompletions(endings, cobra.ShellCompDirectiveFilterFileExt)
}

func words(list ...string) completer {
	return cobra.FixedCompletions(list, cobra.ShellCompDirectiveNoFileComp)
}

// inTurn completes each argument by its own; the last serves all that follow if
// repeat is set, and else nothing does.
func inTurn(repeat bool, each ...completer) completer {
	return func(cmd *cobra.Command, args []string, start string) ([]cobra.Completion, cobra.ShellCompDirective) {
		at := len(args)
		if repeat {
			at = min(at, len(each)-1)
		}
		if at >= len(each) {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return each[at](cmd, args, start)
	}
}

// tablesOf offers the tables of the results folder that is the first argument.
func tablesOf(_ *cobra.Command, args []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
	names, err := pipeline.TableNames(args[0])
	if err != nil {
		return nil, cobra.ShellCompDirectiveError
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

// columnsOf offers the columns of the table that the arguments name, after those
// that stand there already.
func columnsOf(_ *cobra.Command, args []string, start string) ([]cobra.Completion, cobra.ShellCompDirective) {
	if len(args) < 2 {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	names, err := pipeline.ColumnNames(args[0], args[1])
	if err != nil {
		return nil, cobra.ShellCompDirectiveError
	}
	done := listed(start)
	before := ""
	for _, name := range done[:max(len(done)-1, 0)] {
		before += name + ","
	}
	offered := make([]cobra.Completion, 0, len(names))
	for _, name := range names {
		if !slices.Contains(done, name) {
			offered = append(offered, before+name)
		}
	}
	return offered, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveNoSpace
}

// addCompletion says what each command takes, for the shell.
func addCompletion(root *cobra.Command) {
	arguments := map[string]completer{
		"demo": inTurn(false, folders), "merge": inTurn(true, folders), "init": inTurn(false, folders, folders),
		"engines": inTurn(false, folders),
		"check":   inTurn(false, folders), "run": inTurn(false, folders),
		"fit": inTurn(false, files("csv")), "export": inTurn(false, folders, tablesOf),
		"figures": inTurn(true, folders, figuresOf),
		"tables":  inTurn(false, folders), "pool": inTurn(true, folders),
		"published": inTurn(false, words(published.Names()...)),
		"score":     inTurn(false, folders, files("csv")), "schema": inTurn(true, words(tableNames()...)),
		"verify": inTurn(false, folders), "sheets": inTurn(false, folders), "rerun": inTurn(false, folders),
		"compare": inTurn(false, folders, folders), "why": inTurn(false, folders, folders),
		"package": inTurn(false, folders), "manual": words(),
	}
	options := map[string]map[string]completer{
		"run":     {"out": folders},
		"init":    {"from": words(pipeline.DraftFormats()...)},
		"fit":     {"out": files("json")},
		"export":  {"columns": columnsOf, "partitioned": folders, "by": columnsOf},
		"figures": {"as": words(pipeline.FigureForms()...), "out": folders},
		"tables":  {"analysis": files("yaml", "yml"), "out": folders},
		"pool":    {"analysis": files("yaml", "yml"), "out": folders},
		"score":   {"out": files("csv")},
		"schema":  {"format": words(schemaFormats()...)},
		"rerun":   {"study": folders, "from": words(pipeline.FromStudy, pipeline.FromTables, pipeline.FromRelease)},
		"package": {"as": words(pipeline.BundleForms()...), "out": folders},
		"merge":   {"out": folders},
		"engines": {"out": folders, "for": words(engineNames()...)},
		"sheets":  {"study": folders, "out": folders, "reviews": files("csv"), "merge": files("csv"), "quality": words("usable", "doubtful", "unusable")},
		"manual":  {"out": folders},
	}
	for _, c := range root.Commands() {
		if complete, ok := arguments[c.Name()]; ok {
			c.ValidArgsFunction = complete
		}
		for option, complete := range options[c.Name()] {
			if err := c.RegisterFlagCompletionFunc(option, complete); err != nil {
				panic(err) // the option is not one of the command
			}
		}
	}
}
