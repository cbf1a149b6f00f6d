package tabulate

import (
	"math"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/regress"
)

// gridPoints is about how many points a curve has.
const gridPoints = 20

// setting is one way of holding the columns that a curve depends on.
type setting struct {
	label   string
	numbers map[string]float64
	codes   map[string]int
}

// curves writes the estimated effects that are no single number.
func (m *modeller) curves(f fitted, d design, s result) {
	c := curveWriter{m: m, f: f, d: d, s: s, base: d.middle()}
	for _, name := range d.names() {
		partners, curved := d.partners(name)
		if _, numeric := d.sample.numbers[name]; numeric {
			if curved || len(partners) > 0 {
				c.curve(name, c.settings(partners, ""))
			}
			continue
		}
		if len(partners) > 0 {
			c.contrasts(name, partners)
		}
	}
}

// names lists the columns of the design that have an effect of their own.
func (d design) names() []string {
	var out []string
	for _, b := range d.blocks {
		for _, name := range b.term.Columns() {
			if !slices.Contains(out, name) && b.term.FormOf() != schema.WithinBetween {
				out = append(out, name)
			}
		}
	}
	return out
}

// partners lists the columns that interact with the named one, and whether it
// bends.
func (d design) partners(name string) (partners []string, curved bool) {
	for _, b := range d.blocks {
		columns := b.term.Columns()
		if !slices.Contains(columns, name) {
			continue
		}
		curved = curved || b.curved && len(columns) == 1
		for _, other := range columns {
			if other != name && !slices.Contains(partners, other) {
				partners = append(partners, other)
			}
		}
	}
	return partners, curved
}

// middle holds every column at some value: numbers near their mean, factors at
// their first level. Which one does not matter to a difference.
func (d design) middle() setting {
	s := setting{numbers: map[string]float64{}, codes: map[string]int{}}
	for name, x := range d.sample.numbers {
		total := 0.0
		for _, v := range x {
			total += v
		}
		s.numbers[name] = total / float64(len(x))
	}
	for name, codes := range d.sample.codes {
		s.codes[name] = int(slices.Min(codes))
	}
	return s
}

// curveWriter writes the curves of one fit.
type curveWriter struct {
	m    *modeller
	f    fitted
	d    design
	s    result
	base setting
}

// settings combines the levels of the partners: those of a factor that are
// present, the 10th, 50th and 90th percentile of a number; skip names one that
// is not held.
func (c curveWriter) settings(partners []string, skip string) []setting {
	out := []setting{{numbers: map[string]float64{}, codes: map[string]int{}}}
	for _, name := range partners {
		if name == skip {
			continue
		}
		var next []setting
		for _, s := range out {
			for _, one := range c.held(name) {
				next = append(next, s.with(one))
			}
		}
		out = next
	}
	return out
}

func (c curveWriter) held(name string) []setting {
	var out []setting
	if x, numeric := c.d.sample.numbers[name]; numeric {
		sorted := slices.Clone(x)
		sortNumbers(sorted, make([]float64, len(sorted)))
		for _, p := range []float64{0.1, 0.5, 0.9} {
			v := rounded(stats.Quantile(sorted, p, stats.MedianUnbiased))
			if len(out) == 0 || out[len(out)-1].numbers[name] != v {
				out = append(out, setting{label: name + "=" + plain(v), numbers: map[string]float64{name: v}})
			}
		}
		return out
	}
	for _, code := range c.present(name) {
		out = append(out, setting{label: name + "=" + c.level(name, code), codes: map[string]int{name: code}})
	}
	return out
}

// present lists the levels of a factor that are in the sample, the reference of
// its term first.
func (c curveWriter) present(name string) []int {
	var codes []int
	for code := range c.m.c.factor(name).levels {
		if slices.Contains(c.d.sample.codes[name], int32(code)) {
			codes = append(codes, code)
		}
	}
	for _, b := range c.d.blocks {
		if b.term.Column == name && b.term.Reference != "" {
			if at := slices.IndexFunc(codes, func(code int) bool { return c.level(name, code) == b.term.Reference }); at > 0 {
				codes = append([]int{codes[at]}, slices.Delete(codes, at, at+1)...)
			}
		}
	}
	return codes
}

func (c curveWriter) level(name string, code int) string {
	return c.m.c.factor(name).levels[code]
}

// with joins two settings.
func (s setting) with(o setting) setting {
	out := setting{label: join(s.label, o.label), numbers: map[string]float64{}, codes: map[string]int{}}
	for _, from := range []setting{s, o} {
		for k, v := range from.numbers {
			out.numbers[k] = v
		}
		for k, v := range from.codes {
			out.codes[k] = v
		}
	}
	return out
}

// points makes a sample of settings, each laid over the base.
func (c curveWriter) points(settings []setting) sample {
	s := sample{n: len(settings), numbers: map[string][]float64{}, codes: map[string][]int32{}}
	for name, v := range c.base.numbers {
		column := make([]float64, len(settings))
		for i, o := range settings {
			column[i] = v
			if own, ok := o.numbers[name]; ok {
				column[i] = own
			}
		}
		s.numbers[name] = column
	}
	for name, v := range c.base.codes {
		column := make([]int32, len(settings))
		for i, o := range settings {
			column[i] = int32(v)
			if own, ok := o.codes[name]; ok {
				column[i] = int32(own)
			}
		}
		s.codes[name] = column
	}
	return s
}

// curve writes the effect of a number, for every setting of its partners.
func (c curveWriter) curve(name string, settings []setting) {
	grid, reference := c.grid(name)
	for _, at := range settings {
		points := []setting{at.with(setting{numbers: map[string]float64{name: reference}})}
		for _, x := range grid {
			points = append(points, at.with(setting{numbers: map[string]float64{name: x}}))
		}
		rows, err := c.d.rows(c.points(points))
		if err != nil {
			continue // a form that is not defined there
		}
		for i, x := range grid {
			c.write(name, name, at.label, x, plain(reference), difference(rows[i+1], rows[0]))
		}
	}
}

// contrasts writes the differences of the levels of a factor from its reference
// over the range of each number that interacts with it, or once for each level
// of factors that do.
func (c curveWriter) contrasts(name string, partners []string) {
	levels := c.present(name)
	over := ""
	for _, p := range partners {
		if _, numeric := c.d.sample.numbers[p]; numeric && over == "" {
			over = p
		}
	}
	grid := []float64{math.NaN()}
	if over != "" {
		grid, _ = c.grid(over)
	}
	for _, at := range c.settings(partners, over) {
		for _, level := range levels[1:] {
			for _, x := range grid {
				here := at
				if over != "" {
					here = at.with(setting{numbers: map[string]float64{over: x}})
				}
				rows, err := c.d.rows(c.points([]setting{
					here.with(setting{codes: map[string]int{name: levels[0]}}),
					here.with(setting{codes: map[string]int{name: level}}),
				}))
				if err != nil {
					continue
				}
				c.write(name+"="+c.level(name, level), over, at.label, x, name+"="+c.level(name, levels[0]), difference(rows[1], rows[0]))
			}
		}
	}
}

func difference(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range out {
		out[i] = a[i] - b[i]
	}
	return out
}

func (c curveWriter) write(term, over, at string, x float64, reference string, weights []float64) {
	e := c.s.combination(term, weights)
	if !slices.ContainsFunc(weights, func(w float64) bool { return w != 0 }) {
		e = regress.Coefficient{DF: c.s.main.DF[0]} // the reference itself
	}
	unit, method := unitOf(c.f.unit), c.s.method+"; errors "+c.s.main.name
	if scale := c.s.binaryScale(); scale != "" {
		e = regress.Ratios([]regress.Coefficient{e})[0]
		unit, method = "1", scale+" by "+method
	}
	frame := c.m.effects
	row := frame.AddRow()
	for column, text := range map[string]string{"set": c.f.model.Set, "variable": c.f.model.Outcome, "model": c.f.model.Name, "term": term, "over": over, "at": at, "reference": reference} {
		frame.SetText(row, column, text)
	}
	frame.SetNumber(row, "x", x)
	writeResult(frame, row, stats.Result{Statistic: "effect", Estimate: e.Estimate, N: c.f.n, Missing: c.f.missing, Method: method, Unit: unit, Note: c.f.note}, intervalOf(e))
}
