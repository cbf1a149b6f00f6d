// Command growth shows how the cost of a run grows with the number of recordings,
// for as many as one likes: each wave is made while it is read and kept nowhere. Only
// the four tables and the results stand on a disk.
//
//	growth [-jobs N] FOLDER RECORDINGS...
//
// Each size is a run of its own, in a process of its own; FOLDER is emptied of what
// it made. The waves come in by the interface through which run --recordings reads
// objects (pipeline.Storage); everything behind it is what every run does.
package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"

	"tonocohort/pipeline"
	"tonocohort/stats"
)

func main() {
	jobs := flag.Int("jobs", 1, "recordings worked on at once")
	flag.Parse()
	if err := run(flag.Args(), *jobs); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(args []string, jobs int) error {
	if len(args) == 3 && args[0] == oneRun {
		return only(args[1], args[2], jobs)
	}
	if len(args) < 2 {
		return fmt.Errorf("usage: growth [-jobs N] FOLDER RECORDINGS")
	}
	var used []cost
	for _, text := range args[1:] {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 {
			return fmt.Errorf("%q is no number of recordings", text)
		}
		c, err := measured(args[0], n, jobs)
		if err != nil {
			return err
		}
		used = append(used, c)
		fmt.Printf("%8d recordings: %8.1f s of CPU, %.3f ms each, of which %.3f ms make the wave; peak %.0f MiB\n",
			n, c.cpu, 1000*c.cpu/float64(n), 1000*c.making/float64(n), c.peak)
	}
	slices.SortFunc(used, func(a, b cost) int { return a.n - b.n })
	if len(used) > 2 {
		fmt.Printf("exponent of CPU without that of the waves over the number of recordings: %.3f\n", exponent(used, 0))
		// What every run costs once is taken from the two smallest, which lie nearest to it.
		a, b := used[0], used[1]
		each := (b.own() - a.own()) / float64(b.n-a.n)
		once := a.own() - each*float64(a.n)
		fmt.Printf("the same less %.2f s that every run costs once: %.3f\n", once, exponent(used, once))
	}
	return nil
}

// cost is what a run took, in seconds and MiB.
type cost struct {
	n                 int
	cpu, making, peak float64
}

// own is the CPU time without that of making the waves.
func (c cost) own() float64 { return c.cpu - c.making }

// exponent is the slope of the logarithms, by least squares.
func exponent(used []cost, once float64) float64 {
	var x, y []float64
	for _, c := range used {
		x, y = append(x, math.Log(float64(c.n))), append(y, math.Log(c.own()-once))
	}
	return stats.LeastSquaresLine(x, y).Slope
}

// oneRun is the argument with which the program calls itself.
const oneRun = "one-run"

// measured writes the tables of a study and runs it in a process of its own.
func measured(folder string, n, jobs int) (cost, error) {
	dir := filepath.Join(folder, fmt.Sprint("growth-", n))
	defer os.RemoveAll(dir)
	if err := writeTables(filepath.Join(dir, "study"), n); err != nil {
		return cost{}, err
	}
	program, err := os.Executable()
	if err != nil {
		return cost{}, err
	}
	cmd := exec.Command(program, "-jobs", fmt.Sprint(jobs), oneRun, filepath.Join(dir, "study"), filepath.Join(dir, "results"))
	var told, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &told, &said
	if err := cmd.Run(); err != nil {
		return cost{}, fmt.Errorf("%d recordings: %w\n%s", n, err, said.Bytes())
	}
	took := cmd.ProcessState.SysUsage().(*syscall.Rusage)
	making, err := strconv.ParseFloat(strings.TrimSpace(told.String()), 64)
	return cost{n: n, peak: float64(took.Maxrss) / 1024, cpu: (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds(), making: making}, err
}

// only is one run; it tells the seconds of CPU that making the waves took.
func only(studyDir, resultsDir string, jobs int) error {
	pipeline.FollowHeapBudget()
	made := waves{making: new(atomic.Int64)}
	outcome, err := pipeline.Run(context.Background(), studyDir, resultsDir, pipeline.Options{Jobs: jobs, Storage: made})
	if err != nil {
		return err
	}
	if c := outcome.Manifest.Counts.Recordings; 10*c.Used < 9*c.Found {
		return fmt.Errorf("of %d recordings %d could be used: the waves are none", c.Found, c.Used)
	}
	fmt.Println(float64(made.making.Load()) / 1e6)
	return nil
}
