package central

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"fmt"
	"math"
	"slices"
)

// departure is how far an estimate is from the measured central wave in one
// subject: pressures in mmHg, the index in points, NaN where one of the two
// waves has none.
type departure struct {
	SBP, DBP, MAP, PP, SBPAboveMAP, DBPAboveMAP, AugmentationPressure, AugmentationIndexPct float64
	WaveRMSE                                                                                float64
	PeripheralPP                                                                            float64
}

// fields lists the numbers, so that departures can be averaged.
func (d *departure) fields() []*float64 {
	return []*float64{&d.SBP, &d.DBP, &d.MAP, &d.PP, &d.SBPAboveMAP, &d.DBPAboveMAP,
		&d.AugmentationPressure, &d.AugmentationIndexPct, &d.WaveRMSE, &d.PeripheralPP}
}

// MethodErrors are the errors of one method, estimate − measured, by variable:
// one number per subject, the mean over the subject's pairs, in the order of
// subject ids; those who lack it are left out.
type MethodErrors struct {
	Method    string
	OutOfFold bool // each subject was estimated by what the others gave; else nothing was fitted
	Variables []VariableErrors
}

// VariableErrors are the errors in one variable.
type VariableErrors struct {
	Name, Unit string
	Errors     []float64
}

// Validation compares the derived function, the tubes fitted to it and the
// published ones on the same pairs.
type Validation struct {
	Folds    int
	Methods  []MethodErrors
	Residual *Residual // of the derived function; nil where there are fewer than SubjectsForBands
}

// Residual is the standard deviation between people of what a transfer function
// gets wrong: of pressures against mean pressure, as a share of peripheral pulse
// pressure, and of the augmentation index in points.
type Residual struct{ SBP, DBP, PP, AugmentationPressure, AugmentationIndexPct float64 }

// DefaultFolds is the number of folds for so many subjects: ten, or one each.
func DefaultFolds(subjects int) int { return min(10, subjects) }

// Validate estimates the central wave of every subject by a function derived
// from the subjects of the other folds. Folds are of whole subjects: the order
// of the SHA-256 of their ids deals them out, so neither the order of the table
// nor a name's place in the alphabet decides. Folds must leave all but one of
// FewestSubjects to derive from.
func Validate(pairs []Pair, folds int, artery string) (*Validation, error) {
	parts := subjectSpectra(pairs)
	n := len(parts)
	if folds < 2 || folds > n || n-(n+folds-1)/folds < FewestSubjects-1 {
		return nil, fmt.Errorf("%d folds of %d subjects: from 2 to one per subject, and at least %d subjects outside each", folds, n, FewestSubjects-1)
	}
	v := &validator{workspace: NewWorkspace(), pairs: map[string][]Pair{}, artery: artery}
	for _, p := range pairs {
		v.pairs[p.SubjectID] = append(v.pairs[p.SubjectID], p)
	}
	fold := foldOf(parts, folds)
	functions := make([][]Transfer, folds)
	for f := range folds {
		var rest []spectra
		for i, p := range parts {
			if fold[i] != f {
				rest = append(rest, p)
			}
		}
		d, err := derive(rest, FewestSubjects-1)
		if err != nil {
			return nil, fmt.Errorf("outside fold %d: %w", f+1, err)
		}
		table := d.Table(artery, "")
		functions[f] = []Transfer{&table, d.fitTube(TubeConstantFitted).Tube, d.fitTube(TubeWindkesselFitted).Tube}
	}
	out := &Validation{Folds: folds}
	for m := range functions[0] {
		departures := v.departures(parts, func(i int) Transfer { return functions[fold[i]][m] })
		out.Methods = append(out.Methods, methodErrors(functions[0][m].Name(), true, departures))
		if m == 0 && n >= SubjectsForBands {
			out.Residual = residual(departures)
		}
	}
	for _, t := range []Transfer{ConstantTube(artery), WindkesselTube(artery)} {
		out.Methods = append(out.Methods, methodErrors(t.Name(), false, v.departures(parts, func(int) Transfer { return t })))
	}
	return out, nil
}

// foldOf deals the subjects out.
func foldOf(parts []spectra, folds int) []int {
	order := make([]int, len(parts))
	digest := make([][sha256.Size]byte, len(parts))
	for i, p := range parts {
		order[i], digest[i] = i, sha256.Sum256([]byte(p.subject))
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(bytes.Compare(digest[a][:], digest[b][:]), cmp.Compare(parts[a].subject, parts[b].subject))
	})
	fold := make([]int, len(parts))
	for rank, i := range order {
		fold[i] = rank % folds
	}
	return fold
}

type validator struct {
	workspace *Workspace
	pairs     map[string][]Pair
	artery    string
	estimate  []float64
}

// departures returns one per subject.
func (v *validator) departures(parts []spectra, of func(subject int) Transfer) []departure {
	out := make([]departure, len(parts))
	for i, part := range parts {
		same := v.pairs[part.subject]
		for j := range same {
			d := v.departure(&same[j], of(i))
			for k, x := range d.fields() {
				*out[i].fields()[k] += *x / float64(len(same))
			}
		}
	}
	return out
}

func (v *validator) departure(p *Pair, t Transfer) departure {
	w := v.workspace
	v.estimate = w.Apply(t, p.Peripheral, p.period(), v.estimate)
	found, truth, peripheral := w.Measure(v.estimate, p.StepS), w.Measure(p.Central, p.StepS), w.Measure(p.Peripheral, p.StepS)
	d := departure{SBP: found.SBP - truth.SBP, DBP: found.DBP - truth.DBP, MAP: found.MAP - truth.MAP, PP: found.PP - truth.PP,
		AugmentationPressure: found.AugmentationPressure - truth.AugmentationPressure,
		AugmentationIndexPct: found.AugmentationIndexPct - truth.AugmentationIndexPct,
		WaveRMSE:             w.WaveError(v.estimate, p.Central, p.period()), PeripheralPP: peripheral.PP}
	d.SBPAboveMAP, d.DBPAboveMAP = d.SBP-d.MAP, d.DBP-d.MAP
	return d
}

// methodErrors sorts the departures by variable.
func methodErrors(method string, outOfFold bool, departures []departure) MethodErrors {
	m := MethodErrors{Method: method, OutOfFold: outOfFold}
	for _, v := range []struct {
		name, unit string
		of         func(departure) float64
	}{
		{"central_sbp_mmhg", "mmHg", func(d departure) float64 { return d.SBP }},
		{"central_dbp_mmhg", "mmHg", func(d departure) float64 { return d.DBP }},
		{"central_map_mmhg", "mmHg", func(d departure) float64 { return d.MAP }},
		{"central_sbp_above_map_mmhg", "mmHg", func(d departure) float64 { return d.SBPAboveMAP }},
		{"central_pp_mmhg", "mmHg", func(d departure) float64 { return d.PP }},
		{"augmentation_pressure_mmhg", "mmHg", func(d departure) float64 { return d.AugmentationPressure }},
		{"augmentation_index_pct", "%", func(d departure) float64 { return d.AugmentationIndexPct }},
		{WaveRMSE, "mmHg", func(d departure) float64 { return d.WaveRMSE }},
	} {
		errors := VariableErrors{Name: v.name, Unit: v.unit}
		for _, d := range departures {
			if x := v.of(d); !math.IsNaN(x) {
				errors.Errors = append(errors.Errors, x)
			}
		}
		m.Variables = append(m.Variables, errors)
	}
	return m
}

// WaveRMSE names the root mean square difference in shape: means removed, at
// the best shift in time.
const WaveRMSE = "wave_rmse_mmhg"

// residual is the spread of the departures, in shares of peripheral pulse
// pressure where it is of pressures.
func residual(departures []departure) *Residual {
	sd := func(of func(departure) float64) float64 {
		var x []float64
		for _, d := range departures {
			if v := of(d); !math.IsNaN(v) {
				x = append(x, v)
			}
		}
		m, sum := mean(x), 0.0
		for _, v := range x {
			sum += float64((v - m) * (v - m))
		}
		return math.Sqrt(sum / float64(len(x)-1))
	}
	return &Residual{
		SBP:                  sd(func(d departure) float64 { return d.SBPAboveMAP / d.PeripheralPP }),
		DBP:                  sd(func(d departure) float64 { return d.DBPAboveMAP / d.PeripheralPP }),
		PP:                   sd(func(d departure) float64 { return d.PP / d.PeripheralPP }),
		AugmentationPressure: sd(func(d departure) float64 { return d.AugmentationPressure / d.PeripheralPP }),
		AugmentationIndexPct: sd(func(d departure) float64 { return d.AugmentationIndexPct }),
	}
}
