package impute

import (
	"cmp"
	"errors"
	"fmt"
	"iter"
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

// Imputed holds the imputed values of every copy.
type Imputed struct {
	Traces []Trace

	variables []Variable
	missing   [][]int32     // by variable: rows
	drawn     [][][]float64 // by imputation, by variable: the values of its missing rows
	working   [][]float64   // by variable: the completed values that Copy returns
}

// Copies returns how many completed copies there are.
func (m *Imputed) Copies() int { return len(m.drawn) }

// Copy returns completed copy i, from 0, by variable and row. Complete variables
// share their values with the argument of ChainedEquations; the others hold until
// the next call, so that one copy at a time is in memory.
func (m *Imputed) Copy(i int) [][]float64 {
	for v, rows := range m.missing {
		for k, row := range rows {
			m.working[v][row] = m.drawn[i][v][k]
		}
	}
	return m.working
}

// ChainedEquations completes the variables by imputing each from all others, in
// turn and over again (van Buuren and Groothuis-Oudshoorn 2011, J Stat Softw
// 45(3); White, Royston and Wood 2011, Stat Med 30:377-99). Numbers enter the
// other variables' models as they are, levels as indicators; fixed columns, as
// products of complete variables, enter every model beside them. Variables are
// visited from the fewest missing values to the most. The arguments are not
// changed, and must not be while the result is in use.
func ChainedEquations(variables []Variable, fixed [][]float64, s Settings) (*Imputed, error) {
	if err := check(variables, s); err != nil {
		return nil, err
	}
	c := newChain(variables, fixed)
	order := c.visits()
	out := &Imputed{variables: variables, missing: c.missing, working: c.values}
	for i := range s.Imputations {
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
		drawn := make([][]float64, len(variables))
		for _, v := range order {
			drawn[v] = c.imputed(v, nil)
		}
		out.drawn = append(out.drawn, drawn)
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

// chain is one copy on its way; its memory serves every copy in turn.
type chain struct {
	variables []Variable
	values    [][]float64 // by variable: completed; those without a missing value are the caller's
	missing   [][]int32   // by variable: rows
	columns   [][]column  // by variable: what it is in the models of others
	fixed     []column
	room      room
}

func newChain(variables []Variable, fixed [][]float64) *chain {
	k := len(variables)
	c := &chain{variables: variables, values: make([][]float64, k), missing: make([][]int32, k), columns: make([][]column, k)}
	for v, variable := range variables {
		c.missing[v] = missingRows(variable.Values)
		c.values[v] = variable.Values
		if len(c.missing[v]) > 0 {
			c.values[v] = slices.Clone(variable.Values)
		}
		if variable.Levels == 0 {
			c.columns[v] = []column{numbers(variable.Values, c.values[v])}
		}
		for level := 1; level < variable.Levels; level++ {
			c.columns[v] = append(c.columns[v], column{values: c.values[v], level: float64(level)})
		}
	}
	for _, x := range fixed {
		c.fixed = append(c.fixed, numbers(x, x))
	}
	return c
}

// spread returns mean and standard deviation of the values that are there; a
// column of one value has the deviation one.
func spread(x []float64) (centre, scale float64) {
	return spreadOf(func(yield func(float64) bool) {
		for _, v := range x {
			if !math.IsNaN(v) && !yield(v) {
				return
			}
		}
	})
}

func spreadOf(x iter.Seq[float64]) (centre, scale float64) {
	n := 0.0
	for v := range x {
		n++
		centre += v
	}
	centre /= n
	for v := range x {
		scale += float64((v - centre) * (v - centre))
	}
	scale = math.Sqrt(scale / n)
	if !(scale > 0) {
		scale = 1
	}
	return centre, scale
}

// visits orders the incomplete variables by how much they lack.
func (c *chain) visits() []int {
	var order []int
	for v, rows := range c.missing {
		if len(rows) > 0 {
			order = append(order, v)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(len(c.missing[a]), len(c.missing[b])) })
	return order
}

// start fills the missing values with observed ones taken at random.
func (c *chain) start(v int, random *rand.Rand) {
	observed := rowsBut{n: len(c.values[v]), left: c.missing[v]}
	for _, row := range c.missing[v] {
		c.values[v][row] = c.variables[v].Values[observed.row(random.IntN(observed.count()))]
	}
}

// predictors lists the columns of all other variables.
func (c *chain) predictors(v int) []column {
	var out []column
	for other, columns := range c.columns {
		if other != v {
			out = append(out, columns...)
		}
	}
	return append(out, c.fixed...)
}

// impute draws the missing values of one variable anew.
func (c *chain) impute(v int, random *rand.Rand) error {
	p := regressionData{columns: c.predictors(v), observed: rowsBut{n: len(c.values[v]), left: c.missing[v]}, missing: c.missing[v], room: &c.room}
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
	return nil
}

// imputed appends the present values of the missing rows to out.
func (c *chain) imputed(v int, out []float64) []float64 {
	out = slices.Grow(out, len(c.missing[v]))
	for _, row := range c.missing[v] {
		out = append(out, c.values[v][row])
	}
	return out
}

func (c *chain) trace(v, imputation, iteration int) Trace {
	c.room.drawn = c.imputed(v, c.room.drawn[:0])
	x := c.room.drawn
	mean, sd := spread(x)
	if len(x) < 2 {
		sd = math.NaN()
	} else {
		sd *= math.Sqrt(float64(len(x)) / float64(len(x)-1))
	}
	return Trace{c.variables[v].Name, imputation, iteration, mean, sd, len(x)}
}
