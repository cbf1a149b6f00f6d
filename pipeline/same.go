package pipeline

import (
	"cmp"
	"math"
	"slices"
	"time"

	"tonocohort/pipeline/parquet"
	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// The limits within which two ids count as likely one person; LikelySameTable
// says where they come from.
const (
	sameHeightCM = 0.5
	sameWave     = 0.03
	wavePoints   = 32
)

// examinee is one visit of a person with what tells persons apart.
type examinee struct {
	subject, visit, sex string
	age, height         float64
	birth               int64     // day number; 0 where it cannot be reckoned
	wave                []float32 // one beat from foot to foot, from 0 to 1
}

// waveShapes reads the first wave of each visit, brought to wavePoints points
// and a pulse pressure of 1. prefix goes before the ids of persons.
func waveShapes(root *store.Root, prefix string) (map[[2]string][]float32, error) {
	shapes := map[[2]string][]float32{}
	table, err := parquet.Select(schema.WaveformsTable(), []string{"subject_id", "visit_id", "recording_id", "radial_mmhg"})
	if err != nil {
		return nil, err
	}
	err = readGroups(root, tablePath("waveforms"), table, func(f *schema.Frame) error {
		for row, wave := range f.Waves("radial_mmhg") {
			key := [2]string{prefix + f.TextAt(row, "subject_id"), f.TextAt(row, "visit_id")}
			if _, seen := shapes[key]; !seen {
				if shape := waveShape(wave); shape != nil {
					shapes[key] = shape
				}
			}
		}
		return nil
	})
	return shapes, err
}

// waveShape interpolates a periodic wave; nil where it is empty or flat.
func waveShape(wave []float32) []float32 {
	n := len(wave)
	if n == 0 {
		return nil
	}
	low, high := slices.Min(wave), slices.Max(wave)
	if !(high > low) {
		return nil
	}
	shape := make([]float32, wavePoints)
	for k := range shape {
		at := float64(k*n) / wavePoints
		i := int(at)
		part := float32(at - float64(i))
		v := float32((1-part)*wave[i]) + float32(part*wave[(i+1)%n])
		shape[k] = (v - low) / (high - low)
	}
	return shape
}

func shapeDifference(a, b []float32) float64 {
	sum := 0.0
	for i := range a {
		d := float64(a[i]) - float64(b[i])
		sum += float64(d * d)
	}
	return math.Sqrt(sum / float64(len(a)))
}

// examinees lists the used visits that have all that is compared, sorted.
func examinees(visits *schema.Frame, shapes map[[2]string][]float32) []examinee {
	for _, needed := range []string{"sex", "age_years", "height_cm"} {
		if !visits.Has(needed) {
			return nil
		}
	}
	var list []examinee
	for row, status := range visits.Texts("status") {
		e := examinee{subject: visits.TextAt(row, "subject_id"), visit: visits.TextAt(row, "visit_id"), sex: visits.TextAt(row, "sex"),
			age: visits.Number(row, "age_years"), height: visits.Number(row, "height_cm")}
		e.wave = shapes[[2]string{e.subject, e.visit}]
		if status != statusUsed || e.wave == nil || math.IsNaN(e.age) || math.IsNaN(e.height) || e.sex == "" || e.sex == "unknown" {
			continue
		}
		if visits.Has("visit_date") {
			e.birth = birthDay(visits.TextAt(row, "visit_date"), e.age)
		}
		list = append(list, e)
	}
	return list
}

// birthDay reckons the day of birth; 0 without a date, and from an age in whole
// years, which does not tell it.
func birthDay(date string, age float64) int64 {
	day, err := time.Parse("2006-01-02", date)
	if err != nil || age == math.Trunc(age) {
		return 0
	}
	return day.Unix()/86400 - int64(math.Round(age*365.25))
}

// match is a pair of visits of two ids.
type match struct {
	a, b       *examinee
	on         string
	difference float64
}

// likelySame finds the pairs: by birth date where it is known, else by age. Of
// two ids with several such visits the one with the nearest waves counts.
func likelySame(list []examinee) *schema.Frame {
	best := map[[2]string]match{}
	visit := func(on string, key func(e *examinee) (int64, bool), within int64) {
		eachCandidate(list, key, within, func(a, b *examinee) {
			d := shapeDifference(a.wave, b.wave)
			if d > sameWave {
				return
			}
			if a.subject > b.subject {
				a, b = b, a
			}
			pair := [2]string{a.subject, b.subject}
			if old, known := best[pair]; !known || d < old.difference {
				best[pair] = match{a, b, on, d}
			}
		})
	}
	visit("birth_date", func(e *examinee) (int64, bool) { return e.birth, e.birth != 0 }, 1)
	visit("age", func(e *examinee) (int64, bool) { return int64(math.Round(100 * e.age)), true }, 0)
	pairs := make([]match, 0, len(best))
	for _, m := range best {
		pairs = append(pairs, m)
	}
	slices.SortFunc(pairs, func(x, y match) int {
		return cmp.Or(cmp.Compare(x.a.subject, y.a.subject), cmp.Compare(x.b.subject, y.b.subject))
	})
	f := schema.NewFrame(schema.LikelySameTable(), len(pairs))
	for _, m := range pairs {
		row := f.AddRow()
		for name, text := range map[string]string{"subject_a": m.a.subject, "visit_a": m.a.visit, "subject_b": m.b.subject, "visit_b": m.b.visit, "sex": m.a.sex, "matched_on": m.on} {
			f.SetText(row, name, text)
		}
		for name, v := range map[string]float64{"age_a_years": m.a.age, "age_b_years": m.b.age, "height_a_cm": m.a.height, "height_b_cm": m.b.height, "wave_difference": m.difference} {
			f.SetNumber(row, name, v)
		}
	}
	return f
}

// eachCandidate calls found for the pairs of two ids of one sex whose keys lie
// within the given distance and whose heights are near.
func eachCandidate(list []examinee, key func(e *examinee) (int64, bool), within int64, found func(a, b *examinee)) {
	type keyed struct {
		*examinee
		key int64
	}
	var sorted []keyed
	for i := range list {
		if k, ok := key(&list[i]); ok {
			sorted = append(sorted, keyed{&list[i], k})
		}
	}
	slices.SortFunc(sorted, func(a, b keyed) int {
		return cmp.Or(cmp.Compare(a.sex, b.sex), cmp.Compare(a.key, b.key), cmp.Compare(a.height, b.height), cmp.Compare(a.subject, b.subject), cmp.Compare(a.visit, b.visit))
	})
	for i, a := range sorted {
		for _, b := range sorted[i+1:] {
			if b.sex != a.sex || b.key-a.key > within || within == 0 && b.height-a.height > sameHeightCM {
				break
			}
			if a.subject != b.subject && math.Abs(b.height-a.height) <= sameHeightCM {
				found(a.examinee, b.examinee)
			}
		}
	}
}
