package main

import (
	"fmt"
	"os"
	"runtime"
	"runtime/debug"
	"runtime/pprof"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// measure does the work once and prints its cost: CPU seconds of all threads,
// wall seconds, and the peak of resident memory beside the bytes of the data.
func measure(task string, dataBytes int, work func() (string, error)) error {
	debug.FreeOSMemory()
	os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) // the peak counts from here; without /proc it counts from the start
	stop, err := profile()
	if err != nil {
		return err
	}
	before, beforeUsage := time.Now(), cpu()
	said, err := work()
	if err != nil {
		return fmt.Errorf("%s: %w", task, err)
	}
	used, wall := cpu()-beforeUsage, time.Since(before).Seconds()
	stop()
	fmt.Printf("RESULT %s cpu=%.3f wall=%.3f peak_mb=%.0f data_mb=%.0f info=%s\n", task, used, wall, peak(), float64(dataBytes)/1e6, strings.ReplaceAll(said, " ", ","))
	return nil
}

// profile writes a processor profile to the file that CPUPROFILE names, where it
// does, for go tool pprof.
func profile() (stop func(), err error) {
	path := os.Getenv("CPUPROFILE")
	if path == "" {
		return func() {}, nil
	}
	file, err := os.Create(path)
	if err != nil {
		return nil, err
	}
	if err := pprof.StartCPUProfile(file); err != nil {
		return nil, err
	}
	return func() { pprof.StopCPUProfile(); file.Close() }, nil
}

// cpu is the processor time of this process so far.
func cpu() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

// peak is the largest resident memory, in megabytes.
func peak() float64 {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return float64(m.Sys) / 1e6
	}
	for line := range strings.Lines(string(status)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kb, _ := strconv.ParseFloat(strings.Fields(rest)[0], 64)
			return kb * 1024 / 1e6
		}
	}
	return 0
}
