package central

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"math/cmplx"
	"sort"
	"strconv"
	"strings"
)

// TransferTable is the name of the estimate by a tabulated transfer function.
const TransferTable = "transfer_table"

// Table is a transfer function by frequency, artery → aorta.
type Table struct {
	Source  string    // who measured it
	Artery  string    // the only artery it is for
	Hz      []float64 // ascending, above 0; the last is at least 4 Hz
	Modulus []float64 // of the gain artery → aorta, above 0
	Phase   []float64 // of the gain, rad, unwrapped

	Residual *Residual // what it was found to get wrong in single persons; nil: not known
}

// lowestTableHz is how far a table must reach: to the radial resonance.
const lowestTableHz = 4.0

// Check says what is wrong with a table, nil where nothing is.
func (t *Table) Check() error {
	switch {
	case t.Artery != Radial && t.Artery != Brachial:
		return fmt.Errorf("transfer table: artery %q: it must be %s or %s", t.Artery, Radial, Brachial)
	case len(t.Hz) == 0 || len(t.Modulus) != len(t.Hz) || len(t.Phase) != len(t.Hz):
		return fmt.Errorf("transfer table: %d frequencies, %d moduli, %d phases", len(t.Hz), len(t.Modulus), len(t.Phase))
	case !finite(t.Hz) || !finite(t.Modulus) || !finite(t.Phase):
		return fmt.Errorf("transfer table: a number is not finite")
	case t.Hz[len(t.Hz)-1] < lowestTableHz:
		return fmt.Errorf("transfer table: it ends at %g Hz; it must reach %g Hz", t.Hz[len(t.Hz)-1], lowestTableHz)
	}
	before := 0.0
	for i, hz := range t.Hz {
		if hz <= before {
			return fmt.Errorf("transfer table: row %d: %g Hz after %g Hz: frequencies must ascend from above 0", i+1, hz, before)
		}
		if t.Modulus[i] <= 0 {
			return fmt.Errorf("transfer table: row %d: modulus %g: it must be above 0", i+1, t.Modulus[i])
		}
		before = hz
	}
	return nil
}

// Name returns the public name of the method.
func (t *Table) Name() string { return TransferTable }

// Gain returns the gain artery → aorta: between the rows, and between 0 Hz,
// where it is 1, and the first row, the logarithm of the modulus and the phase
// go straight. The band limit ends at 12 Hz, or at the last row where that
// comes earlier, and begins at two thirds of its end.
func (t *Table) Gain(hz float64) complex128 {
	if hz <= 0 {
		return 1
	}
	end := min(rollOffToHz, t.Hz[len(t.Hz)-1])
	limit := RollOff(hz * rollOffToHz / end)
	if limit == 0 {
		return 0
	}
	i := sort.SearchFloat64s(t.Hz, hz)
	fromHz, fromLog, fromPhase := 0.0, 0.0, 0.0
	if i > 0 {
		fromHz, fromLog, fromPhase = t.Hz[i-1], math.Log(t.Modulus[i-1]), t.Phase[i-1]
	}
	u := (hz - fromHz) / (t.Hz[i] - fromHz)
	modulus := math.Exp(fromLog + float64(u*(math.Log(t.Modulus[i])-fromLog)))
	return cmplx.Rect(modulus*limit, fromPhase+float64(u*(t.Phase[i]-fromPhase)))
}

// ParseTable reads a table from the bytes of a file: lines "# key: value" with
// the keys artery, source and direction, then csv with the header
// hz,modulus,phase_deg. The direction is artery_to_aorta or aorta_to_artery, as
// most are published; the second is inverted. Phases are unwrapped.
func ParseTable(data []byte) (Table, error) {
	t := Table{Artery: Radial}
	keys := map[string]string{}
	body := data
	for bytes.HasPrefix(body, []byte("#")) {
		line, rest, _ := bytes.Cut(body, []byte("\n"))
		body = rest
		key, value, ok := strings.Cut(strings.TrimSpace(string(line[1:])), ":")
		if ok {
			keys[strings.TrimSpace(key)] = strings.TrimSpace(value)
		}
	}
	t.Source = keys["source"]
	if a := keys["artery"]; a != "" {
		t.Artery = a
	}
	sign := 0.0
	switch keys["direction"] {
	case "artery_to_aorta":
		sign = 1
	case "aorta_to_artery":
		sign = -1
	default:
		return Table{}, fmt.Errorf("transfer table: direction %q: a line \"# direction: artery_to_aorta\" or \"# direction: aorta_to_artery\" is needed", keys["direction"])
	}
	rows, err := csv.NewReader(bytes.NewReader(body)).ReadAll()
	if err != nil {
		return Table{}, fmt.Errorf("transfer table: %w", err)
	}
	if len(rows) == 0 || strings.Join(rows[0], ",") != "hz,modulus,phase_deg" {
		return Table{}, fmt.Errorf("transfer table: the header must be hz,modulus,phase_deg")
	}
	if err := t.fill(rows[1:], sign); err != nil {
		return Table{}, err
	}
	return t, t.Check()
}

// fill takes the numbers of the rows; sign −1 inverts the gain.
func (t *Table) fill(rows [][]string, sign float64) error {
	before := 0.0
	for i, row := range rows {
		var x [3]float64
		for j, cell := range row {
			var err error
			if x[j], err = strconv.ParseFloat(strings.TrimSpace(cell), 64); err != nil {
				return fmt.Errorf("transfer table: row %d: %q is not a number", i+1, cell)
			}
		}
		if x[0] == 0 {
			if x[1] != 1 || x[2] != 0 {
				return fmt.Errorf("transfer table: row %d: the gain at 0 Hz must be 1, so that mean pressure is kept", i+1)
			}
			continue
		}
		phase := sign * x[2] * math.Pi / 180
		phase -= 2 * math.Pi * math.Round((phase-before)/(2*math.Pi))
		before = phase
		t.Hz = append(t.Hz, x[0])
		t.Modulus = append(t.Modulus, math.Pow(x[1], sign))
		t.Phase = append(t.Phase, phase)
	}
	return nil
}

// tabulated is the estimator of a table.
type tabulated struct{ table Table }

func (tabulated) Name() string     { return TransferTable }
func (m tabulated) Source() string { return m.table.Source }

func (tabulated) Limits() string {
	return "the artery and the kind of people that the table was measured in; nothing above its last frequency or 12 Hz"
}

func (m tabulated) Estimate(w *Workspace, b Beat, out []float64) (Estimate, error) {
	if nearHeart(b.Artery) {
		return through(identity{}, w, b, out), nil
	}
	if b.Artery != m.table.Artery {
		return Estimate{}, fmt.Errorf("central: the transfer table is for a %s wave, not for a %s one", m.table.Artery, b.Artery)
	}
	return through(&m.table, w, b, out), nil
}

func (m tabulated) Spread(_ *Workspace, b Beat, e Estimate) Spread {
	r := m.table.Residual
	switch {
	case e.Method == None:
		return Spread{}
	case r == nil:
		return unknownSpread()
	}
	p := period{wave: b.Wave, step: b.StepS, length: b.period()}
	pp := p.extreme(+1).value - p.extreme(-1).value
	return Spread{SBP: r.SBP * pp, DBP: r.DBP * pp, PP: r.PP * pp, AugmentationPressure: r.AugmentationPressure * pp, AugmentationIndexPct: r.AugmentationIndexPct}
}
