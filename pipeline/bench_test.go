package pipeline

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"tonocohort/pipeline/simulate"
	"tonocohort/pipeline/store"
	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// BenchmarkRecording times one recording from its file to its values: 40 s at
// 256 Hz as csv with two columns, one worker, file in the page cache.
func BenchmarkRecording(b *testing.B) {
	dir := b.TempDir()
	writeWave(b, filepath.Join(dir, "wave.csv"))
	files, err := store.OpenRoot(dir)
	if err != nil {
		b.Fatal(err)
	}
	defer files.Close()
	visit := &study.Visit{ID: "v1", Cuff: []study.Reading{{Number: 1, SBP: 128, DBP: 78}}}
	row := &study.Recording{ID: "R1", File: "wave.csv", Format: "csv", SamplingHz: 256, Unit: "au", Artery: "radial"}
	for _, method := range []string{"tube_constant", "tube_windkessel", "tube_individual"} {
		b.Run(method, func(b *testing.B) {
			settings := schema.DefaultSettings()
			settings.Central.Method = method
			methods, err := newEstimators(settings.Central, nil)
			if err != nil {
				b.Fatal(err)
			}
			w := newWorker(settings, newLayout(), files, methods, &disguise{settings: settings.Privacy})
			b.ReportAllocs()
			for b.Loop() {
				if r := w.recording("female", visit, row); r.status != statusUsed {
					b.Fatal(r.reason, r.detail)
				}
			}
		})
	}
}

func writeWave(b *testing.B, path string) {
	const seconds, hz = 40, 256
	samples, _ := simulate.Recording("bench", seconds, hz)
	file, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	out := bufio.NewWriter(file)
	fmt.Fprintln(out, "time_s,pressure")
	for i, p := range samples {
		fmt.Fprintf(out, "%.5f,%.3f\n", float64(i)/hz, p)
	}
	if err := out.Flush(); err != nil {
		b.Fatal(err)
	}
	if err := file.Close(); err != nil {
		b.Fatal(err)
	}
}

// BenchmarkRun times a whole run, tables, statistics, release and manifest
// included, on an invented cohort of 200 people.
func BenchmarkRun(b *testing.B) {
	dir := b.TempDir()
	studyDir := filepath.Join(dir, "study")
	if err := simulate.Write(studyDir, filepath.Join(dir, "truth.csv"), simulate.Options{Subjects: 200, Seed: "bench"}); err != nil {
		b.Fatal(err)
	}
	recordings := 0
	for b.Loop() {
		outcome, err := Run(context.Background(), studyDir, filepath.Join(dir, "results"), Options{Replace: true})
		if err != nil {
			b.Fatal(err)
		}
		recordings = outcome.Manifest.Counts.Recordings.Found
	}
	b.ReportMetric(float64(recordings), "recordings/op")
}
