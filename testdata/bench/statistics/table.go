package main

import (
	"bufio"
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
)

// names are the columns of the invented table. Those that end in _m lack one
// value in ten.
var names = []string{"age", "sex", "height", "bmi", "hr", "map", "smoker", "diabetes", "glucose", "ldl", "egfr", "med", "cpp", "stratum",
	"bmi_m", "glucose_m", "ldl_m", "egfr_m"}

// columns holds the table by name; a missing value is NaN.
type columns map[string][]float64

// person draws one row. The numbers are invented: nothing is checked against
// them but that both programs find the same.
func person(r *rand.Rand) map[string]float64 {
	round := func(v float64, places int) float64 { p := math.Pow10(places); return math.Round(v*p) / p }
	yes := func(p float64) float64 {
		if r.Float64() < p {
			return 1
		}
		return 0
	}
	p := map[string]float64{}
	p["age"] = round(20+69.9*r.Float64(), 1)
	p["sex"] = yes(0.5)
	over := p["age"] - 20
	p["height"] = round(163+13*p["sex"]+7*r.NormFloat64(), 1)
	p["bmi"] = round(26+4*r.NormFloat64(), 1)
	p["hr"] = round(67+9*r.NormFloat64(), 1)
	p["map"] = round(84+0.12*over+8*r.NormFloat64(), 1)
	p["smoker"] = yes(0.2)
	p["diabetes"] = yes(0.05 + 0.002*over)
	p["glucose"] = round(90+18*p["diabetes"]+0.15*over+12*r.NormFloat64(), 1)
	p["ldl"] = round(120+30*r.NormFloat64(), 1)
	p["egfr"] = round(115-0.7*over+14*r.NormFloat64(), 1)
	p["med"] = yes(0.02 + 0.006*over)
	late := 0.0
	if p["age"] > 50 {
		late = 2.5 * (1 - p["sex"])
	}
	p["cpp"] = round(26+0.0075*over*over+0.18*(p["map"]-90)-0.12*(p["hr"]-67)-0.06*(p["height"]-170)+2.4*p["diabetes"]+1.8*p["smoker"]+
		late-0.02*(p["egfr"]-90)+(2.5+0.05*p["age"])*r.NormFloat64(), 2)
	p["stratum"] = 2*(min(max(math.Floor(p["age"]/10), 2), 8)-2) + p["sex"]
	for _, name := range []string{"bmi", "glucose", "ldl", "egfr"} {
		p[name+"_m"] = p[name]
		if r.Float64() < 0.1 {
			p[name+"_m"] = math.NaN()
		}
	}
	return p
}

// write writes a table of n rows; an empty cell is a missing value.
func write(path string, n int) error {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(file, 1<<20)
	random := rand.New(rand.NewPCG(uint64(n), 1))
	for i, name := range names {
		if i > 0 {
			w.WriteByte(',')
		}
		w.WriteString(name)
	}
	w.WriteByte('\n')
	var line []byte
	for range n {
		p := person(random)
		line = line[:0]
		for i, name := range names {
			if i > 0 {
				line = append(line, ',')
			}
			if v := p[name]; !math.IsNaN(v) {
				line = strconv.AppendFloat(line, v, 'f', -1, 64)
			}
		}
		w.Write(append(line, '\n'))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return file.Close()
}

// read reads what write wrote.
func read(path string) (columns, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	header, body, _ := bytes.Cut(data, []byte("\n"))
	heads := bytes.Split(header, []byte(","))
	rows := bytes.Count(body, []byte("\n"))
	cells := make([][]float64, len(heads))
	for i := range cells {
		cells[i] = make([]float64, 0, rows)
	}
	for line := range bytes.Lines(body) {
		for i, cell := range bytes.Split(bytes.TrimSuffix(line, []byte("\n")), []byte(",")) {
			v := math.NaN()
			if len(cell) > 0 {
				if v, err = strconv.ParseFloat(string(cell), 64); err != nil {
					return nil, fmt.Errorf("%s: %w", path, err)
				}
			}
			cells[i] = append(cells[i], v)
		}
	}
	out := columns{}
	for i, head := range heads {
		out[string(head)] = cells[i]
	}
	return out, nil
}
