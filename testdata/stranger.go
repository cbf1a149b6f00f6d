package testdata

import (
	"bytes"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
)

// stranger is a study as a stranger would bring it. Every person in it is
// invented; its numbers check nothing but that they are treated as declared.
type stranger struct {
	dir                                    string
	random                                 *rand.Rand
	persons, visits, cuffs, waves, refused strings.Builder
}

// WriteStranger writes the tables and waves, not the study.yaml, of an invented
// study of two centres into dir. Karst has women (2), men (1) and some of a third
// sex (3) and answers 1 or 0; Delta has women alone, Frau, and answers in words.
// Column names are the study's own. Half of the values of one column are missing,
// every third person came twice, households are clusters, and three people have
// withdrawn.
func WriteStranger(dir string) error {
	s := stranger{dir: dir, random: rand.New(rand.NewPCG(7, 11))}
	s.persons.WriteString("PatNr;Geschlecht;Zentrum;Haushalt;Hang;Gewicht_Ziehung;Nachtdienst;Kost;Insulin;Hoehe_m\n")
	s.visits.WriteString("PatNr;Runde;Alter;Pillen;Lage;Ferritin\n")
	s.cuffs.WriteString("PatNr;Runde;Nr;Oben;Unten\n")
	s.waves.WriteString("recording_id;subject_id;visit_id;file;format;sampling_hz\n")
	s.refused.WriteString("subject_id;on\n")
	if err := os.MkdirAll(filepath.Join(dir, "waves"), 0o777); err != nil {
		return err
	}
	for i := range 330 {
		sex := []string{"1", "2"}[i%2]
		if i%30 == 7 {
			sex = "3"
		}
		if err := s.person(i, sex, "Karst"); err != nil {
			return err
		}
	}
	for i := range 150 {
		if err := s.person(330+i, "Frau", "Delta"); err != nil {
			return err
		}
	}
	for name, text := range map[string]*strings.Builder{"leute.csv": &s.persons, "runden.csv": &s.visits, "manschette.csv": &s.cuffs, "wellen.csv": &s.waves, "widerruf.csv": &s.refused} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text.String()), 0o666); err != nil {
			return err
		}
	}
	return nil
}

// person invents one.
func (s *stranger) person(i int, sex, centre string) error {
	r := s.random
	id := fmt.Sprintf("K%04d", 1000+i*7)
	age := 20 + 59.9*r.Float64()
	yes := func(is bool) string {
		if centre == "Karst" {
			return map[bool]string{true: "1", false: "0"}[is]
		}
		return map[bool]string{true: "ja", false: "nein"}[is]
	}
	insulin := ""
	if i%4 < 2 { // half of the values are missing
		insulin = fmt.Sprintf("%.1f", math.Exp(2+0.5*r.NormFloat64()))
	}
	fmt.Fprintf(&s.persons, "%s;%s;%s;H%d;%s;%.2f;%s;%s;%s;%d\n", id, sex, centre, i/2, []string{"Nord", "Sued"}[i/4%2], 20+60*r.Float64(),
		yes(r.Float64() < 0.3), []string{"misch", "pflanzlich", "fisch"}[r.IntN(3)], insulin, 200+r.IntN(1400))
	if i%160 == 40 {
		fmt.Fprintf(&s.refused, "%s;2024-02-01\n", id)
	}
	pills := r.Float64() < (age-20)/150
	sbp, dbp := 104+0.45*(age-20)+11*r.NormFloat64(), 68+0.12*(age-20)+7*r.NormFloat64()
	if sex == "1" {
		sbp += 6
	}
	rounds := 1
	if i%3 == 0 {
		rounds = 2
	}
	for round := range rounds {
		visit := fmt.Sprintf("Runde%d", round+1)
		fmt.Fprintf(&s.visits, "%s;%s;%.1f;%s;liegend;%s\n", id, visit, age+4*float64(round), yes(pills), ferritin(r))
		up, down := sbp+3*float64(round)+4*r.NormFloat64(), dbp+3*r.NormFloat64()
		up, down = min(max(up, 85), 215), min(max(down, 45), 120)
		up = max(up, down+22)
		for k := range 3 {
			fmt.Fprintf(&s.cuffs, "%s;%s;%d;%.0f;%.0f\n", id, visit, k+1, up+float64(1-k), down)
		}
		name := fmt.Sprintf("waves/%s-%d.csv", id, round+1)
		fmt.Fprintf(&s.waves, "%s-%d;%s;%s;%s;csv;100\n", id, round+1, id, visit, name)
		if err := s.wave(filepath.Join(s.dir, filepath.FromSlash(name)), age, 55+35*r.Float64()); err != nil {
			return err
		}
	}
	return nil
}

// ferritin is a column that is of no use for pressure; a tenth is missing.
func ferritin(r *rand.Rand) string {
	if r.IntN(10) == 0 {
		return ""
	}
	return fmt.Sprintf("%.0f", math.Exp(4+0.6*r.NormFloat64()))
}

// wave writes 12 s of an invented radial pulse: an aortic one, whose late hump
// grows with age, through an arm whose peak varies.
func (s *stranger) wave(path string, age, heartRate float64) error {
	const hz, n = 100, 200
	period := 60 / heartRate
	late := 0.002*(age-20) + 0.05*s.random.NormFloat64() - 0.02
	arm := Arm{TravelS: 0.0625 * (1 + 0.06*s.random.NormFloat64()), Reflection: 9.0 / 19}
	var wrist [10]complex128
	for k := range wrist {
		sum := complex(0, 0)
		for j := range n {
			t := period * float64(j) / n
			hump := late * math.Exp(-math.Pow((t-0.22)/0.05, 2))
			sum += complex(hump, 0) * cmplx.Rect(1, -2*math.Pi*float64((k+1)*j)/n)
		}
		wrist[k] = (harmonic(k+1, period) + sum*complex(90.0/n, 0)) * arm.forward(float64(k+1)/period)
	}
	var out bytes.Buffer
	out.WriteString("pressure\n")
	for i := range 12 * hz {
		p := 95 + 0.3*s.random.NormFloat64()
		for k := range wrist {
			p += real(wrist[k] * cmplx.Rect(1, 2*math.Pi*float64(k+1)*float64(i)/hz/period))
		}
		fmt.Fprintf(&out, "%.2f\n", p)
	}
	return os.WriteFile(path, out.Bytes(), 0o666)
}
