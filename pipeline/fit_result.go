package pipeline

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"slices"
	"strconv"

	"tonocohort/pipeline/central"
	"tonocohort/schema"
	"tonocohort/stats"
	"tonocohort/stats/agree"
)

// fitLevel is the level of every band and interval of a transfer function.
const fitLevel = 0.95

// derive averages, fits and validates, and puts the result into its file's form.
func (f *fit) derive() (*schema.Transfer, error) {
	d, err := central.Derive(f.pairs)
	if err != nil {
		return nil, err
	}
	folds := f.options.Folds
	if folds == 0 {
		folds = central.DefaultFolds(d.Subjects)
	}
	first := &f.table.Rows[slices.IndexFunc(f.results, func(r *pairResult) bool { return r.status == statusUsed })]
	v, err := central.Validate(f.pairs, folds, first.Artery)
	if err != nil {
		return nil, err
	}
	t := &schema.Transfer{
		Format: schema.TransferFormat, Kind: schema.TransferKind, Caution: schema.Caution, Direction: directionToAorta,
		Artery: first.Artery, CentralArtery: first.CentralArtery, Method: central.CrossSpectrum, Resampling: central.BeatRetimed, Level: fitLevel, Folds: v.Folds,
		Counts: f.counts(d.Subjects), MeanStep: f.moments(func(r *pairResult) float64 { return r.meanStep }),
		Settings: schema.TransferSettings{Beats: schema.DefaultSettings().Beats, StepHz: central.DeriveStepHz, HighestHz: central.DeriveToHz},
		Inputs:   f.inputs(), Build: CurrentBuild(f.options.Version),
	}
	if delays := f.moments(func(r *pairResult) float64 { return 1000 * r.delayS }); delays.Subjects > 0 {
		t.FootDelay = &delays
	}
	t.Source = f.source(t)
	if t.CentralArtery == central.Carotid {
		t.Notes = append(t.Notes, "central:measured_in_the_carotid_artery_which_stands_for_the_aorta")
	}
	t.Notes = append(t.Notes, fillTable(t, d)...)
	t.Notes = append(t.Notes, fillTubes(t, d)...)
	t.Validated = validated(v)
	if r := v.Residual; r != nil {
		t.Residual = &schema.TransferResidual{SBP: rounded(r.SBP), DBP: rounded(r.DBP), PP: rounded(r.PP),
			AugmentationPressure: optional(rounded(r.AugmentationPressure)), AugmentationIndexPct: optional(rounded(r.AugmentationIndexPct))}
	}
	t.Content, err = transferContent(*t)
	return t, err
}

// source says who measured it; it stands beside every value made with it.
func (f *fit) source(t *schema.Transfer) string {
	s := fmt.Sprintf("paired %s and %s recordings of %d people (pairs %.12s)", t.CentralArtery, t.Artery, t.Counts.Subjects, f.table.Input.SHA256)
	if f.options.Source != "" {
		s = f.options.Source + ": " + s
	}
	return s
}

func (f *fit) counts(subjects int) schema.TransferCounts {
	c := schema.TransferCounts{Subjects: subjects, Pairs: schema.Tally{Found: len(f.results)}}
	for _, r := range f.results {
		switch r.status {
		case statusUsed:
			c.Pairs.Used++
		case statusExcluded:
			c.Pairs.Excluded++
		default:
			c.Pairs.Failed++
		}
	}
	return c
}

// moments describes a number of the pairs that were used, averaged by subject.
func (f *fit) moments(of func(*pairResult) float64) schema.TransferMoments {
	bySubject := map[string][]float64{}
	var ids []string
	for _, r := range f.results {
		if v := of(r); r.status == statusUsed && !math.IsNaN(v) {
			if _, seen := bySubject[r.row.SubjectID]; !seen {
				ids = append(ids, r.row.SubjectID)
			}
			bySubject[r.row.SubjectID] = append(bySubject[r.row.SubjectID], v)
		}
	}
	slices.Sort(ids)
	var means []float64
	for _, id := range ids {
		means = append(means, stats.Describe(bySubject[id]).Mean)
	}
	m := schema.TransferMoments{Subjects: len(means)}
	if len(means) >= 2 {
		s := stats.Describe(means)
		m.Mean, m.SD = rounded(s.Mean), rounded(s.SD)
	}
	return m
}

// inputs lists the table and every recording, each once, by digest.
func (f *fit) inputs() []schema.TransferInput {
	all := []schema.TransferInput{{Bytes: f.table.Input.Bytes, SHA256: f.table.Input.SHA256}}
	for _, r := range f.results {
		if r.status == statusUsed {
			for _, in := range r.inputs {
				all = append(all, schema.TransferInput{Bytes: in.Bytes, SHA256: in.SHA256})
			}
		}
	}
	slices.SortFunc(all, func(a, b schema.TransferInput) int { return cmp.Compare(a.SHA256, b.SHA256) })
	return slices.Compact(all)
}

// fillTable writes the gain by frequency and by harmonic.
func fillTable(t *schema.Transfer, d *central.Derived) []string {
	var notes []string
	table := d.Table(t.Artery, t.Source)
	band, ok := d.Band(fitLevel)
	if ok {
		t.BandMethod = central.JackknifeBand
	} else {
		notes = append(notes, fmt.Sprintf("bands:fewer_than_%d_subjects", central.SubjectsForBands))
	}
	if end := d.Hz[len(d.Hz)-1]; end < central.DeriveToHz {
		notes = append(notes, fmt.Sprintf("table:ends_at_%g_hz_where_half_of_the_subjects_have_no_signal", end))
	}
	for i, hz := range d.Hz {
		row := schema.TransferRow{Hz: hz, Modulus: rounded(table.Modulus[i]), PhaseDeg: rounded(degrees(table.Phase[i])),
			Coherence: rounded(d.Coherence[i]), Subjects: d.Count[i]}
		if ok {
			row.ModulusLow, row.ModulusHigh = optional(rounded(band.ModulusLow[i])), optional(rounded(band.ModulusHigh[i]))
			row.PhaseLowDeg, row.PhaseHighDeg = optional(rounded(degrees(band.PhaseLow[i]))), optional(rounded(degrees(band.PhaseHigh[i])))
		}
		t.Table = append(t.Table, row)
	}
	for _, h := range d.Harmonics {
		t.Harmonics = append(t.Harmonics, schema.TransferHarmonic{Harmonic: h.Number, MeanHz: rounded(h.MeanHz), Modulus: rounded(cmplx.Abs(h.Gain)),
			PhaseDeg: rounded(degrees(cmplx.Phase(h.Gain))), Coherence: rounded(h.Coherence), Subjects: h.Count})
	}
	return notes
}

// fillTubes writes the fitted tubes and, beside them, the published ones.
func fillTubes(t *schema.Transfer, d *central.Derived) []string {
	var notes []string
	for _, method := range []string{central.TubeConstantFitted, central.TubeWindkesselFitted} {
		f := d.FitTube(method)
		if f.AtBound() {
			notes = append(notes, method+":at_the_bound_of_the_search_so_the_gain_does_not_determine_it")
		}
		t.Tubes = append(t.Tubes, tube(f, true, d.Hz))
	}
	for _, published := range []central.Tube{central.ConstantTube(t.Artery), central.WindkesselTube(t.Artery)} {
		t.Tubes = append(t.Tubes, tube(d.Beside(published), false, d.Hz))
	}
	return notes
}

func tube(f central.TubeFit, fitted bool, hz []float64) schema.TransferTube {
	t := schema.TransferTube{Method: f.Tube.Method, Fitted: fitted, Misfit: rounded(f.Misfit)}
	se := func(i int, factor float64) *float64 {
		if f.SE == nil {
			return nil
		}
		return optional(rounded(f.SE[i] * factor))
	}
	t.Parameters = append(t.Parameters, schema.TransferParameter{Name: "travel_ms", Value: rounded(1000 * f.Tube.TravelS), SE: se(0, 1000)})
	if f.Tube.ReflectionS == 0 && f.Tube.Method != central.TubeWindkesselFitted {
		t.Parameters = append(t.Parameters, schema.TransferParameter{Name: "reflection", Value: rounded(f.Tube.Reflection), SE: se(1, 1)})
	} else {
		a, b := f.Tube.Windkessel()
		t.Parameters = append(t.Parameters, schema.TransferParameter{Name: "load_a_ms", Value: rounded(1000 * a), SE: se(1, 1000)},
			schema.TransferParameter{Name: "load_b", Value: rounded(b), SE: se(2, 1)})
	}
	t.Parameters = append(t.Parameters, schema.TransferParameter{Name: "shift_ms", Value: rounded(1000 * f.ShiftS)})
	before := 0.0
	for _, x := range hz {
		g := f.Aligned(x)
		phase := cmplx.Phase(g)
		phase -= 2 * math.Pi * math.Round((phase-before)/(2*math.Pi))
		before = phase
		t.Modulus, t.PhaseDeg = append(t.Modulus, rounded(cmplx.Abs(g))), append(t.PhaseDeg, rounded(degrees(phase)))
	}
	return t
}

// validated describes the errors of each method and variable.
func validated(v *central.Validation) []schema.TransferError {
	var out []schema.TransferError
	for _, m := range v.Methods {
		for _, x := range m.Variables {
			s := stats.Describe(x.Errors)
			e := schema.TransferError{Method: m.Method, OutOfFold: m.OutOfFold, Variable: x.Name, Unit: x.Unit, Subjects: len(x.Errors)}
			if e.Subjects == 0 {
				continue
			}
			e.Bias = rounded(s.Mean)
			if e.Subjects >= 2 {
				e.SD = rounded(s.SD)
			}
			if e.Subjects >= central.SubjectsForBands && x.Name != central.WaveRMSE {
				if l, err := agree.BlandAltman(x.Errors, fitLevel, fitLevel, agree.LimitsApproximate); err == nil {
					e.BiasLow, e.BiasHigh = optional(rounded(l.BiasCI.Low)), optional(rounded(l.BiasCI.High))
					e.LimitLow, e.LimitHigh = optional(rounded(l.Lower)), optional(rounded(l.Upper))
				}
			}
			out = append(out, e)
		}
	}
	return out
}

func degrees(radians float64) float64 { return radians * 180 / math.Pi }

// rounded keeps nine significant digits: more than any measurement holds, and
// few enough for a file that people read.
func rounded(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return v
	}
	out, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 9, 64), 64)
	if err != nil {
		panic(err) // a number just formatted
	}
	return out
}

// writeJSON writes v for a person and a program alike.
func writeJSON(w io.Writer, v any) error {
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", " ")
	return encoder.Encode(v)
}
