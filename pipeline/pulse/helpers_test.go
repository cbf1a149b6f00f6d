package pulse

import (
	"bufio"
	"compress/gzip"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// defaults are the settings that hold where a study declares none.
var defaults = Settings{LowpassHz: 20, MinAccepted: 8, MinSeconds: 5}

// column reads a column of numbers from a csv file, plain or gz.
func column(t testing.TB, path, name string) []float64 {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var r io.Reader = f
	if strings.HasSuffix(path, ".gz") {
		if r, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	scanner := bufio.NewScanner(r)
	scanner.Scan()
	at := slices.Index(strings.Split(scanner.Text(), ","), name)
	if at < 0 {
		t.Fatalf("%s has no column %s", path, name)
	}
	var out []float64
	for scanner.Scan() {
		v, err := strconv.ParseFloat(strings.Split(scanner.Text(), ",")[at], 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	if scanner.Err() != nil {
		t.Fatal(scanner.Err())
	}
	return out
}

// pulseShape is an invented pulse over one period, phase 0 to 1, range about 0
// to 1: a systolic wave, a shoulder and a dicrotic wave on a decaying diastole.
func pulseShape(phase float64) float64 {
	bump := func(at, width float64) float64 {
		d := (phase - at - math.Round(phase-at)) / width
		return math.Exp(-d * d / 2)
	}
	return bump(0.18, 0.055) + 0.45*bump(0.33, 0.09) + 0.2*bump(0.55, 0.06) + 0.1*bump(0.7, 0.15)
}

// pulseTrain samples invented pulses of equal periods at 40 times their shape,
// with noise of the given standard deviation.
func pulseTrain(hz, seconds, bpm, noise float64) []float64 {
	r := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, int(hz*seconds))
	for i := range x {
		beats := float64(i) / hz * bpm / 60
		x[i] = 40*pulseShape(beats-math.Floor(beats)) + noise*r.NormFloat64()
	}
	return x
}

// analyse runs a new analyser and fails the test on an error.
func analyse(t testing.TB, s Settings, x []float64, hz float64) Result {
	t.Helper()
	r, err := NewAnalyser(s).Analyse(x, hz)
	if err != nil {
		t.Fatalf("%v; beats %d, %v", err, len(r.Beats), reasons(r))
	}
	return r
}

// reasons counts the verdicts of a result.
func reasons(r Result) map[string]int {
	n := map[string]int{}
	for _, b := range r.Beats {
		n[b.Reason]++
	}
	return n
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %.10g ± %g", what, got, want, tolerance)
	}
}
