package pipeline

import (
	"fmt"
	"math"
	"testing"
)

// someone is an examinee with a wave of one shape, off by a share.
func someone(id string, age, height float64, birth int64, off float64) examinee {
	wave := make([]float32, 100)
	for i := range wave {
		x := 2 * math.Pi * float64(i) / 100
		wave[i] = float32(80 + 20*math.Sin(x) + off*40*math.Sin(2*x))
	}
	return examinee{subject: id, visit: "v1", sex: "female", age: age, height: height, birth: birth, wave: waveShape(wave)}
}

// Of one sex, of one age or birth date, of one height and with near waves: each
// of these is needed.
func TestLikelySame(t *testing.T) {
	for name, c := range map[string]struct {
		other examinee
		on    string
	}{
		"same file":        {someone("b", 51.25, 165, 0, 0), "age"},
		"near wave":        {someone("b", 51.25, 165.4, 0, 0.01), "age"},
		"years later":      {someone("b", 56.9, 165, -7001, 0), "birth_date"},
		"other wave":       {someone("b", 51.25, 165, 0, 0.3), ""},
		"other height":     {someone("b", 51.25, 166, 0, 0), ""},
		"other age":        {someone("b", 51.35, 165, 0, 0), ""},
		"other birth date": {someone("b", 56.9, 165, -7005, 0), ""},
	} {
		a := someone("a", 51.25, 165, -7000, 0)
		f := likelySame([]examinee{a, c.other})
		switch {
		case c.on == "" && f.N != 0:
			t.Errorf("%s: found", name)
		case c.on != "" && (f.N != 1 || f.TextAt(0, "matched_on") != c.on || f.TextAt(0, "subject_a") != "a"):
			t.Errorf("%s: %d pairs", name, f.N)
		}
	}
	man := someone("b", 51.25, 165, 0, 0)
	man.sex = "male"
	if f := likelySame([]examinee{someone("a", 51.25, 165, 0, 0), man}); f.N != 0 {
		t.Error("a man and a woman")
	}
	twice := []examinee{someone("a", 51.25, 165, 0, 0), someone("a", 51.25, 165, 0, 0)}
	if f := likelySame(twice); f.N != 0 {
		t.Error("one id with two visits")
	}
}

func TestWaveShape(t *testing.T) {
	for _, wave := range [][]float32{nil, {}, {90, 90, 90}} {
		if waveShape(wave) != nil {
			t.Errorf("%v has a shape", wave)
		}
	}
	long, short := make([]float32, 640), make([]float32, 64)
	for i := range long {
		long[i] = float32(math.Sin(2 * math.Pi * float64(i) / 640))
	}
	for i := range short {
		short[i] = float32(120 + 30*math.Sin(2*math.Pi*float64(i)/64))
	}
	if d := shapeDifference(waveShape(long), waveShape(short)); d > 0.001 {
		t.Errorf("the same wave in two rates and scales differs by %g", d)
	}
}

// Persons of whole years: each is compared with those of its sex, age and height
// alone.
func BenchmarkLikelySame(b *testing.B) {
	list := make([]examinee, 20_000)
	for i := range list {
		list[i] = someone(fmt.Sprintf("s%06d", i), float64(20+i%60), 150+float64(i*7919%4000)/100, 0, float64(i%97)/97)
	}
	for b.Loop() {
		likelySame(list)
	}
}
