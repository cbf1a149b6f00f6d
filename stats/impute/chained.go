package impute

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Ways of imputing one variable.
const (
	PredictiveMeanMatching = "pmm"         // an observed value of a person with a similar prediction (Little 1988, J Bus Econ Stat 6:287-96)
	Normal                 = "normal"      // the prediction with normal noise, all parameters drawn (Rubin 1987, 5.3)
	Logistic               = "logistic"    // one of two levels
	Multinomial            = "multinomial" // one of several levels
)

// donors is how many observed values predictive mean matching chooses from
// (Morris, White and Royston 2014, BMC Med Res Methodol 14:75; from memory).
const donors = 5

// Variable is one column of the data: NaN where a value is missing. With Levels
// the values are 0 … Levels−1; with none they are numbers.
type Variable struct {
	Name   string
	Values []float64
	Levels int
	Method string // how it is imputed; empty for a variable without a missing value
}

// Settings says how many completed copies are made.
type Settings struct {
	Imputations, Iterations int
	// Stream returns the random numbers of one copy and variable, by their names.
	Stream func(imputation int, variable string) *rand.Rand
}

// Trace follows the imputed values of a variable through the iterations, by
// which convergence is judged: their mean and standard deviation.
type Trace struct {
	Variable              string
	Imputation, Iteration int // from 1
	Mean, SD              float64
	N                     int // imputed values
}

// Imputed holds the completed copies.
type Imputed struct {
	Copies [][][]float64 // by imputation, by variable, by row; complete variables share their values
	Traces []Trace
}

// ChainedEquations completes the variables by imputing each from all others, in
// turn and over again (van Buuren and Groothuis-Oudshoorn 2011, J Stat Softw
// 45(3); White, Royston and Wood 2011, Stat Med 30:377-99). Numbers enter the
// other variables' models as they are, levels as indicators; fixed columns, as
// products of complete variables, enter every model beside them. Variables are
// visited from the fewest missing values to the most. The arguments are not
// changed.
func ChainedEquations(variables []Variable, fixed [][]float64, s Settings) (*Imputed, error) {
	if err := check(variables, s); err != nil {
		return nil, err
	}
	order := visits(variables)
	out := &Imputed{}
	for i := range s.Imputations {
		c := newChain(variables, fixed)
		streams := make([]*rand.Rand, len(variables))
		for _, v := range order {
			streams[v] = s.Stream(i+1, variables[v].Name)
			c.start(v, streams[v])
		}
		for iteration := 1; iteration <= s.Iterations; iteration++ {
			for _, v := range order {
				if err := c.impute(v, streams[v]); err != nil {
					return nil, fmt.Errorf("impute: %s, iteration %d: %w", variables[v].Name, iteration, err)
				}
				out.Traces = append(out.Traces, c.trace(v, i+1, iteration))
			}
		}
		copied := make([][]float64, len(variables))
		for v := range variables {
			copied[v] = c.values[v]
		}
		out.Copies = append(out.Copies, copied)
	}
	return out, nil
}

func check(variables []Variable, s Settings) error {
	if s.Imputations < 1 || s.Iterations < 1 {
		return fmt.Errorf("impute: %d imputations of %d iterations", s.Imputations, s.Iterations)
	}
	if len(variables) == 0 {
		return errors.New("impute: no variables")
	}
	n := len(variables[0].Values)
	for _, v := range variables {
		if len(v.Values) != n {
			return fmt.Errorf("impute: %s has %d values, the first variable %d", v.Name, len(v.Values), n)
		}
		missing := len(missingRows(v.Values))
		switch {
		case missing == 0:
			continue
		case missing == n:
			return fmt.Errorf("impute: %s has no value at all", v.Name)
		}
		known := []string{PredictiveMeanMatching, Normal}
		if v.Levels > 0 {
			known = []string{Logistic, Multinomial}
		}
		if v.Levels > 2 {
			known = known[1:]
		}
		if !slices.Contains(known, v.Method) {
			return fmt.Errorf("impute: %s cannot be imputed by %q", v.Name, v.Method)
		}
	}
	return nil
}

func missingRows(x []float64) []int {
	var rows []int
	for i, v := range x {
		if math.IsNaN(v) {
			rows = append(rows, i)
		}
	}
	return rows
}

// visits orders the incomplete variables by how much they lack.
func visits(variables []Variable) []int {
	lacking := make([]int, len(variables))
	var order []int
	for i, v := range variables {
		if lacking[i] = len(missingRows(v.Values)); lacking[i] > 0 {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(lacking[a], lacking[b]) })
	return order
}

// chain is one copy on its way.
type chain struct {
	variables []Variable
	values    [][]float64   // by variable: completed; those without a missing value are the caller's
	missing   [][]int       // by variable: rows
	observed  [][]int       // by incomplete variable: the other rows
	columns   [][][]float64 // by variable: what it is in the models of others, centred and scaled
	fixed     [][]float64
	centre    []float64 // by variable, of numbers
	scale     []float64
}

func newChain(variables []Variable, fixed [][]float64) *chain {
	k := len(variables)
	c := &chain{variables: variables, values: make([][]float64, k), missing: make([][]int, k), observed: make([][]int, k),
		columns: make([][][]float64, k), centre: make([]float64, k), scale: make([]float64, k)}
	for v, variable := range variables {
		c.missing[v] = missingRows(variable.Values)
		c.values[v] = variable.Values
		if len(c.missing[v]) > 0 {
			c.values[v] = slices.Clone(variable.Values)
			for i, x := range variable.Values {
				if !math.IsNaN(x) {
					c.observed[v] = append(c.observed[v], i)
				}
			}
		}
		c.centre[v], c.scale[v] = spread(variable.Values)
		width := 1
		if variable.Levels > 0 {
			width = variable.Levels - 1
		}
		for range width {
			c.columns[v] = append(c.columns[v], make([]float64, len(variable.Values)))
		}
		if len(c.missing[v]) == 0 {
			c.refresh(v, nil)
		}
	}
	for _, x := range fixed {
		centre, scale := spread(x)
		column := make([]float64, len(x))
		for i := range x {
			column[i] = (x[i] - centre) / scale
		}
		c.fixed = append(c.fixed, column)
	}
	return c
}

// spread returns mean and standard deviation of the values that are there; a
// column of one value has the deviation one.
func spread(x []float64) (centre, scale float64) {
	n := 0.0
	for _, v := range x {
		if !math.IsNaN(v) {
			n++
			centre += v
		}
	}
	centre /= n
	for _, v := range x {
		if !math.IsNaN(v) {
			scale += float64((v - centre) * (v - centre))
		}
	}
	scale = math.Sqrt(scale / n)
	if !(scale > 0) {
		scale = 1
	}
	return centre, scale
}

// start fills the missing values with observed ones taken at random.
func (c *chain) start(v int, random *rand.Rand) {
	for _, row := range c.missing[v] {
		c.values[v][row] = c.variables[v].Values[c.observed[v][random.IntN(len(c.observed[v]))]]
	}
	c.refresh(v, nil)
}

// refresh brings the columns up to date with the values of some rows; nil
// stands for all.
func (c *chain) refresh(v int, rows []int) {
	set := func(i int) {
		x := c.values[v][i]
		if c.variables[v].Levels == 0 {
			c.columns[v][0][i] = (x - c.centre[v]) / c.scale[v]
			return
		}
		for k := range c.columns[v] {
			c.columns[v][k][i] = 0
		}
		if x > 0 {
			c.columns[v][int(x)-1][i] = 1
		}
	}
	if rows == nil {
		for i := range c.values[v] {
			set(i)
		}
		return
	}
	for _, i := range rows {
		set(i)
	}
}

// predictors lists the columns of all other variables.
func (c *chain) predictors(v int) [][]float64 {
	var out [][]float64
	for other, columns := range c.columns {
		if other != v {
			out = append(out, columns...)
		}
	}
	return append(out, c.fixed...)
}

// impute draws the missing values of one variable anew.
func (c *chain) impute(v int, random *rand.Rand) error {
	p := regressionData{columns: c.predictors(v), observed: c.observed[v], missing: c.missing[v]}
	var drawn []float64
	var err error
	switch c.variables[v].Method {
	case Logistic, Multinomial:
		drawn, err = p.drawLevels(c.values[v], max(2, c.variables[v].Levels), random)
	default:
		drawn, err = p.drawNumbers(c.values[v], c.variables[v].Method == PredictiveMeanMatching, random)
	}
	if err != nil {
		return err
	}
	for i, row := range c.missing[v] {
		c.values[v][row] = drawn[i]
	}
	c.refresh(v, c.missing[v])
	return nil
}

func (c *chain) trace(v, imputation, iteration int) Trace {
	x := make([]float64, len(c.missing[v]))
	for i, row := range c.missing[v] {
		x[i] = c.values[v][row]
	}
	mean, sd := spread(x)
	if len(x) < 2 {
		sd = math.NaN()
	} else {
		sd *= math.Sqrt(float64(len(x)) / float64(len(x)-1))
	}
	return Trace{c.variables[v].Name, imputation, iteration, mean, sd, len(x)}
}
