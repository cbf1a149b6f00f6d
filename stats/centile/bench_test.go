package centile

import "testing"

// 100,000 people of one sex: what a biobank has.
const many = 100_000

func BenchmarkLMS(b *testing.B) {
	age, value := cohort(many, 1)
	for b.Loop() {
		f, err := FitLMS(age, value, LMSOptions{DF: DefaultLMSDF()})
		if err != nil {
			b.Fatal(err)
		}
		for _, year := range f.Ages.Years() {
			for _, p := range nineLevels() {
				f.Band(f.Ages.OfYear(year), p, 0.95)
			}
		}
	}
}

func BenchmarkFractional(b *testing.B) {
	age, value := cohort(many, 1)
	for b.Loop() {
		if _, err := FitFractional(age, value, FractionalOptions{Power: 0}); err != nil {
			b.Fatal(err)
		}
	}
}

// Nine curves with their bands at every year.
func BenchmarkQuantiles(b *testing.B) {
	age, value := cohort(many, 1)
	for b.Loop() {
		f, err := FitQuantiles(age, value, QuantileOptions{Levels: nineLevels()})
		if err != nil {
			b.Fatal(err)
		}
		ages := f.Ages.Years()
		for j := range ages {
			ages[j] = f.Ages.OfYear(ages[j])
		}
		if _, err := f.Bands(ages, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkScore(b *testing.B) {
	age, value := cohort(2000, 1)
	f, err := FitLMS(age, value, LMSOptions{DF: DefaultLMSDF()})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		f.Score(44.4, 37)
	}
}
