package main

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"

	"tonocohort/pipeline/store"
)

// A wave is 40 s at 256 Hz, csv with two columns, as testdata/bench/gen.py writes it.
const (
	samplingHz = 256
	seconds    = 40
)

// waves makes the recordings while they are read: a pipeline.Storage that holds nothing.
type waves struct {
	making *atomic.Int64 // CPU time that making them took, µs
}

func idOf(i int) string   { return fmt.Sprintf("S%07d", i) }
func fileOf(i int) string { return "waves/" + idOf(i) + ".csv" }

// ReadFile makes the wave of a file and hashes it, as what reads a file does.
func (w waves) ReadFile(name string, buf []byte, limit int64) ([]byte, string, error) {
	i, err := strconv.Atoi(strings.TrimSuffix(strings.TrimPrefix(name, "waves/S"), ".csv"))
	if err != nil {
		return nil, "", &store.Error{Code: store.CodeMissing, Path: name, Message: "there is no such file"}
	}
	runtime.LockOSThread() // whose clock is read
	before := threadMicroseconds()
	data := makeWave(i, buf[:0])
	w.making.Add(threadMicroseconds() - before)
	runtime.UnlockOSThread()
	if int64(len(data)) > limit {
		return nil, "", &store.Error{Code: store.CodeTooLarge, Path: name, Message: "is larger than the limit"}
	}
	sum := sha256.Sum256(data)
	return data, hex.EncodeToString(sum[:]), nil
}

// threadMicroseconds is the CPU time of this thread.
func threadMicroseconds() int64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_THREAD, &u); err != nil {
		panic(err)
	}
	return (u.Utime.Sec+u.Stime.Sec)*1e6 + u.Utime.Usec + u.Stime.Usec
}

// makeWave appends the text of wave i: pulses of one shape with a rate, a breathing and
// a noise of the person's own.
func makeWave(i int, data []byte) []byte {
	random := rand.New(rand.NewPCG(9, uint64(i)))
	shape := shapeOf(random)
	zero, gain := 40*random.Float64()-60, 20+20*random.Float64()
	rate, breath := 0.95+0.4*random.Float64(), 0.2+0.1*random.Float64() // Hz
	data = append(data, "t_s,p_raw\n"...)
	phase, step := random.Float64(), rate/samplingHz
	turn := cmplx.Rect(1, 2*math.Pi*breath/samplingHz)
	breathing, noise := complex(1, 0), random.IntN(len(noises))
	for k := range samplingHz * seconds {
		if phase >= 1 {
			phase, step = phase-1, rate*(0.98+0.04*random.Float64())/samplingHz
		}
		at := phase * (points - 1)
		j := int(at)
		v := shape[j] + float64((at-float64(j))*(shape[j+1]-shape[j]))
		v = zero + gain*v + imag(breathing) + noises[(k+noise)%len(noises)]
		data = appendThousandths(append(data, times[k]...), v)
		phase += step
		breathing *= turn
	}
	return data
}

// What is the same for all waves is made once, since making them should cost little
// beside what is made of them.
var (
	times  = timesOf()
	noises = noisesOf()
)

func timesOf() (out [samplingHz * seconds]string) {
	for k := range out {
		out[k] = strconv.FormatFloat(float64(k)/samplingHz, 'f', 5, 64) + ","
	}
	return out
}

// noisesOf are values between 0 and 0.1; a wave begins anywhere among them.
func noisesOf() (out [4099]float64) {
	random := rand.New(rand.NewPCG(9, 0))
	for k := range out {
		out[k] = 0.1 * random.Float64()
	}
	return out
}

// appendThousandths writes a number with three places and ends the line.
func appendThousandths(out []byte, v float64) []byte {
	n := int(math.Round(1000 * v))
	if n < 0 {
		out, n = append(out, '-'), -n
	}
	out = strconv.AppendInt(out, int64(n/1000), 10)
	n %= 1000
	return append(out, '.', byte('0'+n/100), byte('0'+n/10%10), byte('0'+n%10), '\n')
}

// Names lists nothing: csv recordings have no side files.
func (waves) Names(string) ([]string, error) { return nil, nil }

// Hash is that of the bytes that ReadFile gives.
func (w waves) Hash(name string) (store.Digest, error) {
	data, sum, err := w.ReadFile(name, nil, math.MaxInt64)
	return store.Digest{Path: name, Bytes: int64(len(data)), SHA256: sum}, err
}

// points of a pulse; the last is the first of the next.
const points = 257

// shapeOf is a radial pulse of a fast rise, a shoulder and a dicrotic wave, which
// stand where the person's arteries have them. Own invention: it is to cost what a
// recording costs, not to say anything of people.
func shapeOf(random *rand.Rand) (shape [points]float64) {
	shoulder, notch := 0.25+0.06*random.Float64(), 0.45+0.06*random.Float64()
	height := 0.45 + 0.3*random.Float64()
	bump := func(x, at, width float64) float64 { return math.Exp(-(x - at) * (x - at) / (2 * width * width)) }
	for k := range shape {
		x := float64(k) / (points - 1)
		shape[k] = bump(x, 0.13, 0.045) + height*bump(x, shoulder, 0.07) + 0.3*bump(x, notch, 0.06) + 0.25*(1-x)*(1-bump(x, 0, 0.05))
	}
	return shape
}

// writeTables writes the study of n people without their waves.
func writeTables(dir string, n int) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	for name, table := range map[string]struct {
		header string
		row    func(i int, r *rand.Rand) string
	}{
		"subjects.csv": {"subject_id,sex,height_cm", func(i int, r *rand.Rand) string {
			return fmt.Sprintf("%s,%s,%.1f", idOf(i), []string{"female", "male"}[i%2], 150+40*r.Float64())
		}},
		"visits.csv": {"subject_id,visit_id,age_years", func(i int, r *rand.Rand) string { return fmt.Sprintf("%s,v1,%.1f", idOf(i), 20+65*r.Float64()) }},
		"cuff.csv": {"subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg", func(i int, r *rand.Rand) string {
			return fmt.Sprintf("%s,v1,1,%d,%d", idOf(i), 110+r.IntN(50), 60+r.IntN(30))
		}},
		"recordings.csv": {"recording_id,subject_id,visit_id,file,format,channel,sampling_hz,unit", func(i int, _ *rand.Rand) string {
			return fmt.Sprintf("%s,%[1]s,v1,%s,csv,p_raw,%d,au", idOf(i), fileOf(i), samplingHz)
		}},
	} {
		file, err := os.Create(filepath.Join(dir, name))
		if err != nil {
			return err
		}
		out, random := bufio.NewWriter(file), rand.New(rand.NewPCG(uint64(len(name)), 1))
		fmt.Fprintln(out, table.header)
		for i := range n {
			fmt.Fprintln(out, table.row(i, random))
		}
		if err := out.Flush(); err != nil {
			file.Close()
			return err
		}
		if err := file.Close(); err != nil {
			return err
		}
	}
	settings := "format: 1\nstudy: {id: growth}\ntables: {subjects: subjects.csv, visits: visits.csv, cuff: cuff.csv, recordings: recordings.csv}\n"
	return os.WriteFile(filepath.Join(dir, "study.yaml"), []byte(settings), 0o666)
}

// Place names no place: the waves are made, not found.
func (waves) Place() string { return "made://growth" }
