package recording

import (
	"fmt"
	"math"
	"strings"
)

// rateTolerance is how far a rate that the file gives may lie from the declared
// one, as a part of it: 0.5 % (own choice: a heart rate is then off by at most
// 0.5 %, and a mistaken rate is off by more).
const rateTolerance = 0.005

// agrees reports whether the file's rate is the declared one, within the
// tolerance.
func agrees(hz, declared float64) bool {
	return math.Abs(hz-declared) <= rateTolerance*declared
}

// setRate takes the rate of a header. A declared one must agree with it.
func (x *reading) setRate(hz float64) error {
	x.rec.SamplingHz = hz
	if x.SamplingHz == 0 || hz == x.SamplingHz {
		return nil
	}
	if !agrees(hz, x.SamplingHz) {
		i := fault(x.File, CodeSamplingMismatch, fmt.Sprintf("the file says %.6g Hz, the table %.6g Hz", hz, x.SamplingHz), "correct sampling_hz, or leave it empty")
		i.Name = "sampling_hz"
		return i
	}
	x.note(CodeSamplingDiffers, fmt.Sprintf("the file says %.9g Hz, the table %.9g Hz; the file's rate is used", hz, x.SamplingHz))
	return nil
}

// The units of a recording.
const (
	unitMmHg      = "mmHg"
	unitArbitrary = "au"
)

// setUnit takes the unit of a header, "" where it gives none. The declared one
// must agree with it. The header's text is shown only where it is a unit that
// is known: the field may hold anything.
func (x *reading) setUnit(header string) error {
	header = strings.TrimSpace(header)
	given := header != ""
	isMmHg := unitOf(header) == unitMmHg
	switch {
	case x.Unit == "" && isMmHg, x.Unit == unitMmHg && (isMmHg || !given):
		x.rec.Unit = unitMmHg
	case x.Unit == unitMmHg:
		i := fault(x.File, CodeUnitMismatch, "the table says mmHg, the header another unit", "write au in unit where the wave has no scale in mmHg")
		i.Name, i.Value = "unit", knownUnit(header)
		return i
	default:
		x.rec.Unit = unitArbitrary
		if isMmHg {
			x.note(CodeUnitIgnored, "the header says mmHg, the table au: taken as a wave without scale")
		}
	}
	return nil
}

// unitOf is the unit of a recording that a header's text stands for.
func unitOf(header string) string {
	header = strings.TrimSpace(header)
	if strings.EqualFold(header, unitMmHg) || strings.EqualFold(header, "mm Hg") || header == "mm[Hg]" || header == "mm_Hg" {
		return unitMmHg
	}
	return unitArbitrary
}

// knownUnit returns the unit if it is one that recorders write, else "".
func knownUnit(header string) string {
	for _, u := range []string{"kPa", "Pa", "cmH2O", "mV", "uV", "V", "NU", "bar", "mbar", "psi", "%", "nV"} {
		if strings.EqualFold(u, header) {
			return u
		}
	}
	return ""
}
