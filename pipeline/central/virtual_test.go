package central

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"tonocohort/testdata"
)

// virtualSubject is one of the virtual people of data/onedim-train: two public
// one-dimensional flow solvers, with the truth at the aortic root.
type virtualSubject struct {
	id       string
	truth    map[string]float64
	stepS    float64
	aorta    []float64 // one period each, mmHg
	brachial []float64
	radial   []float64
}

// virtualSubjects reads them all; the test is skipped where they are absent.
func virtualSubjects(t testing.TB) []virtualSubject {
	t.Helper()
	folder := testdata.External(t, "data/onedim-train")
	rows := csvRows(t, filepath.Join(folder, "params.csv"))
	var people []virtualSubject
	for _, row := range rows[1:] {
		p := virtualSubject{id: row[0], truth: map[string]float64{}}
		for i, name := range rows[0] {
			if x, err := strconv.ParseFloat(row[i], 64); err == nil {
				p.truth[name] = x
			}
		}
		waves := csvRows(t, filepath.Join(folder, "waves", p.id+".csv"))
		period := float64(len(waves)-1) * 0.002 / 2 // two steady beats at 500 Hz
		p.stepS = period / float64((len(waves)-1)/2)
		p.aorta = oneBeat(t, waves, 1, period)
		p.brachial = oneBeat(t, waves, 3, period)
		p.radial = oneBeat(t, waves, 4, period)
		people = append(people, p)
	}
	return people
}

// oneBeat averages the two beats of a column on a grid of one period.
func oneBeat(t testing.TB, rows [][]string, column int, period float64) []float64 {
	t.Helper()
	x := make([]float64, len(rows)-1)
	for i, row := range rows[1:] {
		var err error
		if x[i], err = strconv.ParseFloat(row[column], 64); err != nil {
			t.Fatal(err)
		}
	}
	n := len(x) / 2
	at := func(s float64) float64 {
		u := s / 0.002
		i := int(u)
		u -= float64(i)
		return x[i%len(x)]*(1-u) + x[(i+1)%len(x)]*u
	}
	beat := make([]float64, n)
	for j := range beat {
		s := period * float64(j) / float64(n)
		beat[j] = (at(s) + at(s+period)) / 2
	}
	return beat
}

func csvRows(t testing.TB, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// shapeError returns the root mean square difference of two waves without
// their means at the time shift at which it is smallest.
func shapeError(a, b []float64, period float64) float64 {
	var f fourier
	var p, q series
	k := harmonicsBelow(60, period, len(a))
	p.resize(k)
	q.resize(k)
	f.analyse(a, period, &p)
	f.analyse(b, period, &q)
	at := func(shift float64) float64 {
		sum := 0.0
		for k := range p.cos {
			s, c := math.Sincos(2 * math.Pi * float64(k+1) / period * shift)
			x := p.cos[k]*c + p.sin[k]*s - q.cos[k]
			y := p.sin[k]*c - p.cos[k]*s - q.sin[k]
			sum += (x*x + y*y) / 2
		}
		return math.Sqrt(sum)
	}
	best := 0.0
	for step := 0.01; step > 1e-5; step /= 10 {
		centre := best
		for i := -20; i <= 20; i++ {
			if s := centre + step*float64(i); at(s) < at(best) {
				best = s
			}
		}
	}
	return at(best)
}

// spread collects differences.
type spread []float64

func (s spread) mean() float64 { return mean(s) }

func (s spread) sd() float64 {
	m, sum := s.mean(), 0.0
	for _, v := range s {
		sum += (v - m) * (v - m)
	}
	return math.Sqrt(sum / float64(len(s)-1))
}

func (s spread) String() string { return fmt.Sprintf("%+.2f ± %.2f", s.mean(), s.sd()) }

// accuracy is how far an estimator is from the truth over people.
type accuracy struct {
	sbp, dbp, pp, aix, ejection spread
	rmse                        spread
	noIndex                     int
}

func (a *accuracy) add(person *virtualSubject, wave []float64) {
	m, truth := Measure(wave, person.stepS), Measure(person.aorta, person.stepS)
	a.sbp = append(a.sbp, m.SBP-person.truth["aorta_root_sbp"])
	a.dbp = append(a.dbp, m.DBP-person.truth["aorta_root_dbp"])
	a.pp = append(a.pp, m.PP-person.truth["aorta_root_pp"])
	a.rmse = append(a.rmse, shapeError(wave, person.aorta, person.stepS*float64(len(wave))))
	if x := m.AugmentationIndexPct - truth.AugmentationIndexPct; !math.IsNaN(x) {
		a.aix = append(a.aix, x)
	} else {
		a.noIndex++
	}
	if x := m.EjectionMS - person.truth["lvet_ms"]; !math.IsNaN(x) {
		a.ejection = append(a.ejection, x)
	}
}

func (a *accuracy) String() string {
	return fmt.Sprintf("SBP %v, DBP %v, PP %v, wave RMSE %.2f, augmentation index %v points (%d without), ejection %v ms (n %d)",
		a.sbp, a.dbp, a.pp, a.rmse.mean(), a.aix, a.noIndex, a.ejection, len(a.ejection))
}
