package tabulate

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/impute"
)

// imputable tells the columns of a model that may lack a value because it is
// imputed: those of the terms, and the outcome only where the study names it. A
// row whose outcome is imputed adds nothing but noise unless other columns tell
// of it (von Hippel 2007, Sociol Methodol 37:83-117).
func imputable(m schema.Model) func(column string) bool {
	return func(column string) bool {
		if !m.Imputes() {
			return false
		}
		_, named := m.Missing.Variables[column]
		return named || column != m.Outcome
	}
}

// completedData are the completed copies of a model's data. load gives one of
// them, in the memory of the one before; it is nil where nothing lacked.
type completedData struct {
	copies int
	load   func(copy int) (s sample, outcome []float64)
	note   string
}

// part is a column of the imputation model: numbers, or the levels that occur.
type part struct {
	variable impute.Variable
	levels   []int // codes of the factor by number of the level; nil for numbers
}

// impute completes the data of a model by chained equations of the outcome, the
// terms' columns and the auxiliary ones.
func (m *modeller) impute(f fitted, predictors []predictor, rows []int32) (completedData, error) {
	settings := f.model.Missing
	all := slices.Clone(predictors)
	for _, name := range settings.Auxiliary {
		all = append(all, m.c.predictor(name, false))
	}
	parts := []part{outcomePart(f, rows)}
	for _, p := range all {
		parts = append(parts, newPart(p, rows))
	}
	variables := make([]impute.Variable, len(parts))
	lacking := 0
	for i := range parts {
		parts[i].method(settings.Variables)
		variables[i] = parts[i].variable
		lacking += missingValues(variables[i].Values)
	}
	if lacking == 0 {
		return completedData{copies: 1, note: "no value was missing: nothing was imputed"}, nil
	}
	stream := f.model.Name + "/" + f.model.Outcome
	m.seeds["imputation of "+stream] = "SHA-256 of study id, model, outcome, imputation and column; ChaCha8"
	got, err := impute.ChainedEquations(variables, completeProducts(f.model, all, parts[1:]), impute.Settings{
		Imputations: settings.Imputations, Iterations: settings.Iterations,
		Stream: func(imputation int, column string) *rand.Rand {
			return namedStream(m.study, f.model.Name, f.model.Outcome, fmt.Sprint(imputation), column)
		},
	})
	if err != nil {
		return completedData{}, err
	}
	m.trace(f, got.Traces, variables)
	return completedData{copies: got.Copies(), load: loader(got, predictors, parts), note: m.imputationNote(f, variables, len(rows))}, nil
}

// loader gives the completed copies of the outcome, the first of the parts, and
// of the predictors, which follow it.
func loader(got *impute.Imputed, predictors []predictor, parts []part) func(copy int) (sample, []float64) {
	codes := map[string][]int32{}
	return func(copy int) (sample, []float64) {
		completed := got.Copy(copy)
		s := sample{n: len(completed[0]), numbers: map[string][]float64{}, codes: codes}
		for i, p := range predictors {
			levels := parts[i+1].levels
			if levels == nil {
				s.numbers[p.name] = completed[i+1]
				continue
			}
			if codes[p.name] == nil {
				codes[p.name] = make([]int32, s.n)
			}
			for k, v := range completed[i+1] {
				codes[p.name][k] = int32(levels[int(v)])
			}
		}
		return s, completed[0]
	}
}

// outcomePart is the outcome in the imputation model.
func outcomePart(f fitted, rows []int32) part {
	v := impute.Variable{Name: f.model.Outcome, Values: pick(f.outcome.values, rows)}
	if f.outcome.binary {
		v.Levels = 2
	}
	return part{variable: v}
}

// newPart is a column of the table; the answer unknown is a missing value.
func newPart(p predictor, rows []int32) part {
	if p.numbers != nil {
		return part{variable: impute.Variable{Name: p.name, Values: pick(p.numbers, rows)}}
	}
	out := part{levels: []int{}, variable: impute.Variable{Name: p.name, Values: make([]float64, len(rows))}}
	position := map[int]int{}
	for code, label := range p.factor.levels {
		occurs := slices.ContainsFunc(rows, func(row int32) bool { return int(p.factor.code[row]) == code })
		if occurs && label != unknownLevel {
			position[code] = len(out.levels)
			out.levels = append(out.levels, code)
		}
	}
	for i, row := range rows {
		out.variable.Values[i] = math.NaN()
		if k, ok := position[int(p.factor.code[row])]; ok {
			out.variable.Values[i] = float64(k)
		}
	}
	out.variable.Levels = max(len(out.levels), 1)
	return out
}

// method fills in how the column is imputed: as declared, else matching for
// numbers, a logistic model for two levels and a multinomial one for more.
func (p *part) method(declared map[string]string) {
	v := &p.variable
	switch {
	case declared[v.Name] != "":
		v.Method = declared[v.Name]
	case v.Levels == 0:
		v.Method = impute.PredictiveMeanMatching
	case v.Levels <= 2:
		v.Method = impute.Logistic
	default:
		v.Method = impute.Multinomial
	}
}

func missingValues(x []float64) int {
	n := 0
	for _, v := range x {
		if math.IsNaN(v) {
			n++
		}
	}
	return n
}

// completeProducts are the interactions of columns that lack nothing, which
// would else be missing from the imputation model.
func completeProducts(m schema.Model, predictors []predictor, parts []part) [][]float64 {
	var out [][]float64
	for _, t := range m.Terms {
		var product [][]float64
		for _, name := range t.Columns() {
			i := slices.IndexFunc(predictors, func(p predictor) bool { return p.name == name })
			if len(t.Interaction) == 0 || missingValues(parts[i].variable.Values) > 0 {
				product = nil
				break
			}
			columns := parts[i].columns()
			if product == nil {
				product = columns
			} else {
				product = multiplied(product, columns)
			}
		}
		out = append(out, product...)
	}
	return out
}

// columns are the numbers about their mean, or the indicators of the levels.
func (p part) columns() [][]float64 {
	if p.levels == nil {
		return [][]float64{shifted(p.variable.Values, stats.Mean(p.variable.Values), 1)}
	}
	out := make([][]float64, max(len(p.levels)-1, 0))
	for k := range out {
		out[k] = make([]float64, len(p.variable.Values))
		for i, v := range p.variable.Values {
			if int(v) == k+1 {
				out[k][i] = 1
			}
		}
	}
	return out
}

// imputationNote says what was imputed, and what it does not know of.
func (m *modeller) imputationNote(f fitted, variables []impute.Variable, n int) string {
	note, incomplete := "imputed by chained equations", make([]bool, n)
	for _, v := range variables {
		missing := missingValues(v.Values)
		if missing == 0 {
			continue
		}
		note += fmt.Sprintf(", %s by %s", v.Name, v.Method)
		for i, x := range v.Values {
			incomplete[i] = incomplete[i] || math.IsNaN(x)
		}
	}
	share := 0
	for _, is := range incomplete {
		if is {
			share++
		}
	}
	if percent := 100 * float64(share) / float64(n); float64(f.model.Missing.Imputations) < percent {
		note = join(note, fmt.Sprintf("%.0f %% of the rows are incomplete and %d imputations fewer than that (White, Royston and Wood 2011; from memory)", percent, f.model.Missing.Imputations))
	}
	if m.c.repeated || f.model.Errors == schema.ClusterErrors || f.model.Kind == schema.RandomIntercept {
		note = join(note, "the imputation takes rows for independent")
	}
	return note
}

// trace writes the course of the imputed values.
func (m *modeller) trace(f fitted, traces []impute.Trace, variables []impute.Variable) {
	for _, t := range traces {
		row := m.traces.AddRow()
		i := slices.IndexFunc(variables, func(v impute.Variable) bool { return v.Name == t.Variable })
		for name, text := range map[string]string{"set": f.model.Set, "variable": f.model.Outcome, "model": f.model.Name, "column": t.Variable, "method": variables[i].Method} {
			m.traces.SetText(row, name, text)
		}
		for name, v := range map[string]float64{"imputation": float64(t.Imputation), "iteration": float64(t.Iteration), "n": float64(t.N), "mean": t.Mean, "sd": t.SD} {
			m.traces.SetNumber(row, name, v)
		}
	}
}

// namedStream is a source of random numbers that depends on names alone.
func namedStream(names ...string) *rand.Rand {
	hash := sha256.New()
	var length [8]byte
	for _, name := range names {
		binary.BigEndian.PutUint64(length[:], uint64(len(name))) // "a", "bc" is not "ab", "c"
		hash.Write(length[:])
		hash.Write([]byte(name))
	}
	var key [32]byte
	hash.Sum(key[:0])
	return rand.New(rand.NewChaCha8(key))
}
