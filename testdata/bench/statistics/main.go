// Command statistics times the statistics, for testdata/bench/statistics.sh:
// alone, on columns in memory, and as the stage that makes the tables of a study
// does them.
//
//	statistics make FILE ROWS    writes an invented table
//	statistics TASK FILE         does one task on it and prints its cost
package main

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strconv"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(args []string) error {
	switch {
	case len(args) == 3 && args[0] == "make":
		n, err := strconv.Atoi(args[2])
		if err != nil {
			return err
		}
		return write(args[1], n)
	case len(args) == 2:
		c, err := read(args[1])
		if err != nil {
			return err
		}
		if alone, ok := kernels[args[0]]; ok {
			maps.DeleteFunc(c, func(name string, _ []float64) bool { return !slices.Contains(alone.columns, name) })
			return measure(args[0], 8*len(c["age"])*len(alone.columns), func() (string, error) { return alone.work(c) })
		}
		if plan, ok := stages[args[0]]; ok {
			return plan.measure(args[0], c)
		}
		return fmt.Errorf("no task %q", args[0])
	}
	return fmt.Errorf("usage: statistics make FILE ROWS | statistics TASK FILE")
}
