package testdata

import (
	"bufio"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
)

// Arm is a lossless tube with a resistance at its end, the arm of an invented
// person: forward gain (1 + Γ)/(exp(iωTd) + Γ·exp(−iωTd)) (theory of the
// lossless line).
type Arm struct{ TravelS, Reflection float64 }

// forward returns the gain aorta → artery.
func (a Arm) forward(hz float64) complex128 {
	turn := cmplx.Rect(1, 2*math.Pi*hz*a.TravelS)
	return complex(1+a.Reflection, 0) / (turn + complex(a.Reflection, 0)*cmplx.Conj(turn))
}

// PairHz is the sampling rate of WritePair.
const PairHz = 200

// WritePair writes 15 s of the aortic and the radial pressure of an invented
// person as dir/ID.csv, with the columns aorta and wrist in mmHg.
func WritePair(dir, id string, arm Arm, heartRate float64) error {
	return writeWaves(filepath.Join(dir, id+".csv"), arm, heartRate, PairHz, "aorta,wrist", func(_, p, q float64) string { return fmt.Sprintf("%.4f,%.4f", p, q) })
}

// WritePairAt writes the same pressures at another rate, with a column time_s.
func WritePairAt(path string, arm Arm, heartRate float64, hz int) error {
	return writeWaves(path, arm, heartRate, hz, "time_s,aorta,wrist", func(t, p, q float64) string { return fmt.Sprintf("%.6f,%.4f,%.4f", t, p, q) })
}

func writeWaves(path string, arm Arm, heartRate float64, hz int, header string, row func(t, aorta, wrist float64) string) error {
	const harmonics = 9
	period := 60 / heartRate
	var aorta, wrist [harmonics]complex128
	for k := range aorta {
		aorta[k] = harmonic(k+1, period)
		wrist[k] = aorta[k] * arm.forward(float64(k+1)/period)
	}
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(file)
	fmt.Fprintln(w, header)
	for i := range 15 * hz {
		t := float64(i) / float64(hz)
		p, q := 95.0, 95.0
		for k := range aorta {
			turn := cmplx.Rect(1, 2*math.Pi*float64(k+1)*t/period)
			p, q = p+real(aorta[k]*turn), q+real(wrist[k]*turn)
		}
		fmt.Fprintln(w, row(t, p, q))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return file.Close()
}

// harmonic returns an amplitude of an invented aortic pulse, a rise of 90 ms and
// an exponential fall with a notch, by the sum over its samples; the highest
// fade out, so that the pulse does not ring.
func harmonic(k int, period float64) complex128 {
	const n = 400
	sum := complex(0, 0)
	for j := range n {
		t := period * float64(j) / n
		v := math.Exp(-max(0, t-0.09) / 0.55)
		if t < 0.09 {
			v = 0.5 - 0.5*math.Cos(math.Pi*t/0.09)
			v += (1 - v) * math.Exp(-(period-0.09)/0.55) // joins the end of the beat before
		}
		v -= 0.10 * math.Exp(-math.Pow((t-0.33)/0.025, 2))
		sum += complex(45*v, 0) * cmplx.Rect(1, -2*math.Pi*float64(k*j)/n)
	}
	fade := 0.5 + 0.5*math.Cos(math.Pi*float64(k)/10)
	return sum * complex(2*fade/n, 0)
}

// WritePairs writes a folder with pairs.csv and n people of one arm, at heart
// rates from 55 to 91 per minute.
func WritePairs(dir string, n int, arm Arm) error {
	table := "pair_id,subject_id,central_file,central_channel,peripheral_file,peripheral_channel,sampling_hz,artery\n"
	for i := range n {
		id := fmt.Sprintf("S%02d", i+1)
		if err := WritePair(dir, id, arm, 55+math.Mod(float64(i)*11, 37)); err != nil {
			return err
		}
		table += fmt.Sprintf("P%02d,%s,%s.csv,aorta,%s.csv,wrist,%d,radial\n", i+1, id, id, id, PairHz)
	}
	return os.WriteFile(filepath.Join(dir, "pairs.csv"), []byte(table), 0o666)
}
