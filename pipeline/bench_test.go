package pipeline

import (
	"bufio"
	"context"
	"fmt"
	"math"
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
	visit := &study.Visit{ID: "v1", Cuff: []study.Reading{{Number: 1, SBP: 128, DBP: 78, MAP: math.NaN(), Pulse: math.NaN()}}}
	row := &study.Recording{ID: "R1", File: "wave.csv", Setup: &study.Setup{Format: "csv", SamplingHz: 256, Unit: "au", Artery: "radial"}}
	for _, method := range []string{"tube_constant", "tube_windkessel", "tube_individual"} {
		b.Run(method, func(b *testing.B) {
			settings := schema.DefaultSettings()
			settings.Central.Method = method
			methods, err := newEstimators(settings.Central, nil)
			if err != nil {
				b.Fatal(err)
			}
			w := newWorker(settings, files, methods, &disguise{settings: settings.Privacy})
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

// BenchmarkWriteChunks times what the one goroutine that writes does with an invented
// cohort of 256 people: rows, tables, digests and the work folder.
func BenchmarkWriteChunks(b *testing.B) {
	dir := b.TempDir()
	studyDir := filepath.Join(dir, "study")
	if err := simulate.Write(studyDir, filepath.Join(dir, "truth.csv"), simulate.Options{Subjects: 256, Seed: "bench"}); err != nil {
		b.Fatal(err)
	}
	r := &run{output: output{dir: filepath.Join(dir, "results")}, options: Options{}.filled(), studyDir: studyDir, tally: newTally()}
	defer r.close()
	ctx := context.Background()
	for _, step := range []func(context.Context) error{r.readStudy, r.openResults, func(context.Context) error { return r.putSubjectsAside() }} {
		if err := step(ctx); err != nil {
			b.Fatal(err)
		}
	}
	done := make(chan []slot, 256/chunkSubjects)
	if err := r.computeChunks(ctx, done); err != nil {
		b.Fatal(err)
	}
	var chunks [][]slot
	for slots := range done {
		chunks = append(chunks, slots)
	}
	b.ReportAllocs()
	for b.Loop() {
		tables, err := r.createPersonTables()
		if err != nil {
			b.Fatal(err)
		}
		for _, slots := range chunks {
			if err := r.writeChunk(tables, slots); err != nil {
				b.Fatal(err)
			}
		}
		for _, t := range tables.all() {
			if err := t.writer.Close(); err != nil { // with what the last row group costs, without waiting for the disk
				b.Fatal(err)
			}
			t.abandon()
		}
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N*r.tally.expected), "µs/recording")
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
