package tabulate

import (
	"fmt"
	"slices"
	"strings"

	"tonocohort/schema/published"
)

// smallStratum is the size below which a row of the comparison says so: our own
// limit, above the 38 and 39 people of the oldest published bands.
const smallStratum = 40

// traps are what makes a comparison with a published set unfair, as far as the
// cohort's own columns tell.
type traps struct {
	everywhere    string // selection and posture
	central       string // calibration and method: central values alone
	meanPressure  string // the rule for mean pressure
	amplification string
	augmentation  string
}

// findTraps compares how the cohort was measured with how the published set was.
func (p *comparer) findTraps() traps {
	s := p.source
	t := traps{everywhere: join(p.selectionTrap(), p.postureTrap(), p.weightTrap()), central: join(p.calibrationTrap(), p.methodTrap())}
	t.meanPressure = fmt.Sprintf("mean pressure here: %s (form factor %s); rules between DBP + 0.33 and 0.412 PP differ by 4 mmHg at a PP of 50",
		p.levels("brachial_map_source"), plain(p.settings.Calibration.FormFactor))
	t.amplification = "amplification is a ratio here: mean of brachial/central PP of each person, neither its inverse nor a difference; it differs from the ratio of means"
	if s.Amplification != "brachial_pp/central_pp" {
		t.amplification = join("definitions differ: published amplification is "+orNot(s.Amplification), t.amplification)
	}
	if s.AugmentationIndex != "augmentation_pressure/central_pp" {
		t.augmentation = "definitions differ: augmentation index here is augmentation pressure over central PP, published is " + orNot(s.AugmentationIndex)
	} else if s.AugmentationIndexNote != "" {
		t.augmentation = "definition of the published augmentation index: " + s.AugmentationIndexNote
	}
	return t
}

// notes joins what applies to one stratum of a variable.
func (t traps) notes(variable string, v published.Value, n int) string {
	note := ""
	if v.Suspect() {
		note = "suspect published value, out of totals: " + v.Note
	} else {
		note = v.Note
	}
	if n < smallStratum || v.N > 0 && v.N < smallStratum {
		there := "unknown"
		if v.N > 0 {
			there = fmt.Sprint(v.N)
		}
		note = join(note, fmt.Sprintf("small n: %d here, %s published", n, there))
	}
	return join(note, t.general(variable))
}

// general joins what applies to every stratum of a variable.
func (t traps) general(variable string) string {
	note := t.everywhere
	if strings.HasPrefix(variable, "central_") || strings.HasPrefix(variable, "augmentation_") || strings.Contains(variable, "amplification") {
		note = join(note, t.central)
	}
	switch {
	case strings.HasPrefix(variable, "brachial_map"):
		note = join(note, t.meanPressure)
	case strings.Contains(variable, "amplification"):
		note = join(note, t.amplification)
	case strings.HasPrefix(variable, "augmentation_index"):
		note = join(note, t.augmentation)
	}
	return note
}

func (p *comparer) selectionTrap() string {
	if p.source.Selection != healthySet || p.set.name == healthySet {
		return ""
	}
	return fmt.Sprintf("the set %s is not selected for health, the published sample is (%s): higher pressures are to be expected", p.set.name, orNot(p.source.SelectionNote))
}

// postureTrap compares the posture of the people with that of the published
// sample.
func (p *comparer) postureTrap() string {
	there := p.source.Posture
	if there == "" {
		return "posture of the published sample is not known"
	}
	there += bracketed(p.source.PostureNote)
	if !p.c.frame.Has("posture") {
		return "posture was not recorded here; published: " + there
	}
	other := 0
	posture := p.c.frame.Labels("posture")
	for _, row := range p.set.rows {
		if posture.At(int(row)) != p.source.Posture {
			other++
		}
	}
	if other == 0 {
		return ""
	}
	return fmt.Sprintf("posture: %d of %d people here were not, or not known to be, %s; published: %s", other, len(p.set.rows), p.source.Posture, there)
}

func (p *comparer) calibrationTrap() string {
	here := p.levels("calibration")
	if here == p.source.Calibration {
		return ""
	}
	if p.source.Calibration == "" {
		return "calibration: " + here + " here, not stated in what was read of the publication"
	}
	text := "calibration differs: " + here + " here, " + orNot(p.source.Calibration) + bracketed(p.source.CalibrationNote) + " published"
	if strings.Contains(here, "map_dbp") && p.source.Calibration == "sbp_dbp" {
		text += "; calibration by mean and diastolic pressure gives higher central systolic pressure"
	}
	return text
}

func (p *comparer) methodTrap() string {
	text := "method: " + p.levels("central_method") + " here, " + orNot(p.source.Method) + " published"
	if p.source.Exchangeable == "no" {
		text += "; values by that method do not stand for those of a transfer function"
	}
	return text
}

// weightTrap says that a comparison counts every row once.
func (p *comparer) weightTrap() string {
	if p.c.kind == "" {
		return ""
	}
	return "weights of the study are not used here"
}

// levels lists the levels of a column that occur in the compared set.
func (p *comparer) levels(name string) string {
	var seen []string
	if p.c.frame.Has(name) {
		f := p.c.factor(name)
		for _, row := range p.set.rows {
			if label := f.label(row); label != "" && !slices.Contains(seen, label) {
				seen = append(seen, label)
			}
		}
	}
	slices.Sort(seen)
	return orNot(strings.Join(seen, " and "))
}

func orNot(text string) string {
	if text == "" {
		return "not stated"
	}
	return text
}

func bracketed(text string) string {
	if text == "" {
		return ""
	}
	return " (" + text + ")"
}
