package parquet

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"testing"

	"tonocohort/schema"
)

// numbersFrame has 60 columns of doubles, rounded to 0.01 as pressures are.
func numbersFrame(n int) *schema.Frame {
	var t schema.Table
	t.Name = "numbers"
	for i := range 60 {
		t.Columns = append(t.Columns, schema.Column{Name: fmt.Sprintf("x%02d_mmhg", i), Kind: schema.Number, Unit: "mmHg"})
	}
	f := schema.NewFrame(t, n)
	r := rand.New(rand.NewPCG(1, 1))
	for i := range f.Cols {
		for range n {
			f.Cols[i].Num = append(f.Cols[i].Num, float64(int(1e4+2e3*r.NormFloat64()))/100)
		}
	}
	f.N = n
	return f
}

func wavesFrame(n int) *schema.Frame {
	f := schema.NewFrame(schema.WaveformsTable(), n)
	r := rand.New(rand.NewPCG(1, 1))
	for i := range n {
		row := f.AddRow()
		f.SetText(row, "subject_id", fmt.Sprintf("S%06d", i/2))
		f.SetText(row, "visit_id", "v1")
		f.SetText(row, "recording_id", fmt.Sprintf("R%07d", i))
		f.SetNumber(row, "step_s", 1.0/256)
		for _, name := range []string{"radial_mmhg", "central_mmhg"} {
			wave := make([]float32, 256)
			for k := range wave {
				wave[k] = 80 + 40*r.Float32()
			}
			f.SetWave(row, name, wave)
		}
	}
	return f
}

func benchmarkFrames() map[string]*schema.Frame {
	return map[string]*schema.Frame{"numbers": numbersFrame(131072), "waves": wavesFrame(8192)}
}

// rawBytes is the size of the cells in memory.
func rawBytes(f *schema.Frame) (n int64) {
	for _, d := range f.Cols {
		n += int64(8 * len(d.Num))
		for _, s := range d.Text {
			n += int64(len(s))
		}
		for _, w := range d.Wave {
			n += int64(4 * len(w))
		}
	}
	return n
}

func BenchmarkWrite(b *testing.B) {
	for name, f := range benchmarkFrames() {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(rawBytes(f))
			b.ReportAllocs()
			for b.Loop() {
				w := NewWriter(io.Discard, f.Table, nil)
				if err := w.Append(f); err != nil {
					b.Fatal(err)
				}
				if err := w.Close(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkRead(b *testing.B) {
	for name, f := range benchmarkFrames() {
		var file bytes.Buffer
		w := NewWriter(&file, f.Table, nil)
		if err := w.Append(f); err != nil {
			b.Fatal(err)
		}
		if err := w.Close(); err != nil {
			b.Fatal(err)
		}
		b.Run(name, func(b *testing.B) {
			b.SetBytes(rawBytes(f))
			b.ReportAllocs()
			b.ReportMetric(float64(file.Len())/float64(rawBytes(f)), "file/raw")
			for b.Loop() {
				if _, err := Read(bytes.NewReader(file.Bytes()), int64(file.Len()), f.Table); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkDigest(b *testing.B) {
	for name, f := range benchmarkFrames() {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(rawBytes(f))
			for b.Loop() {
				if err := NewDigester(f.Table).Add(f); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkCSV(b *testing.B) {
	for name, f := range benchmarkFrames() {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(rawBytes(f))
			for b.Loop() {
				if err := WriteCSV(io.Discard, f, CSVOptions{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
