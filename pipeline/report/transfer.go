package report

import (
	"bufio"
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"tonocohort/schema"
)

// TransferReport writes a transfer function for a person to read, as Markdown;
// figure names the file of its figure.
func TransferReport(w io.Writer, t *schema.Transfer, figure string) error {
	out := bufio.NewWriter(w)
	p := func(format string, args ...any) { fmt.Fprintf(out, format, args...) }
	p("# Transfer function, %s artery to aorta\n\n**%s**\n\n", t.Artery, t.Caution)
	c := t.Counts
	p("From %d pairs of %d subjects (%d pairs found, %d excluded, %d could not be read or analysed); the truth was measured in the %s. Source: %s.\n\n",
		c.Pairs.Used, c.Subjects, c.Pairs.Found, c.Pairs.Excluded, c.Pairs.Failed, place(t.CentralArtery), t.Source)
	p("![modulus, phase and coherence by frequency](%s)\n\n", figure)
	validationTable(out, t)
	gainTable(out, t)
	tubeTable(out, t)
	p("## Between the two places\n\n")
	p("Mean pressure at the artery minus central mean pressure: %s mmHg. The gain at 0 Hz is 1, so this difference stays in every estimate.\n\n", moments(&t.MeanStep))
	if t.FootDelay != nil {
		p("Foot at the artery after the central foot: %s ms.\n\n", moments(t.FootDelay))
	}
	if len(t.Notes) > 0 {
		p("## Notes\n\n")
		for _, n := range t.Notes {
			p("- `%s`\n", n)
		}
		p("\n")
	}
	methods(out, t)
	p("## Use\n\nPut the .json file into the study folder and write into study.yaml:\n\n```yaml\ncentral: {method: transfer_table, transfer_file: FILE}\n```\n\n")
	p("It is for %s waves and for people like those it was measured in. Content digest `%s`; %s %s, %s.\n", t.Artery, t.Content, t.Build.Program, t.Build.Version, t.Build.Go)
	return out.Flush()
}

func place(artery string) string {
	if artery == "aortic" {
		return "aorta"
	}
	return artery + " artery"
}

func moments(m *schema.TransferMoments) string {
	if m.Subjects < 2 {
		return "not known"
	}
	return fmt.Sprintf("%.1f ± %.1f (mean ± SD, %d subjects)", m.Mean, m.SD, m.Subjects)
}

// validationTable lays methods against variables.
func validationTable(w io.Writer, t *schema.Transfer) {
	fmt.Fprintf(w, "## Validation on whole subjects\n\n%d folds; estimate − measured, one difference per subject, bias ± SD (limits of agreement, bias ± 1.96 SD). "+
		"Where a method is marked *fitted*, each subject was estimated by what the other folds gave. The wave error is the root mean square difference in shape: means removed, best shift.\n\n", t.Folds)
	var variables []schema.TransferError
	cells := map[string]string{}
	var methods []string
	for _, e := range t.Validated {
		key := e.Method + " " + e.Variable
		if !strings.Contains(strings.Join(methods, " ")+" ", e.Method+" ") {
			methods = append(methods, e.Method)
		}
		if e.Method == t.Validated[0].Method {
			variables = append(variables, e)
		}
		text := fmt.Sprintf("%+.1f ± %.1f", e.Bias, e.SD)
		if strings.HasPrefix(e.Variable, "wave_") {
			text = fmt.Sprintf("%.2f ± %.2f", e.Bias, e.SD)
		}
		if e.LimitLow != nil && e.LimitHigh != nil {
			text += fmt.Sprintf(" (%+.1f to %+.1f)", *e.LimitLow, *e.LimitHigh)
		}
		if e.Subjects < t.Counts.Subjects {
			text += fmt.Sprintf(", n %d", e.Subjects)
		}
		cells[key] = text
	}
	fmt.Fprint(w, "| variable |")
	for _, m := range methods {
		mark := ""
		if fittedMethod(t, m) {
			mark = " *fitted*"
		}
		fmt.Fprintf(w, " %s%s |", m, mark)
	}
	fmt.Fprintf(w, "\n|---|%s\n", strings.Repeat("---|", len(methods)))
	for _, v := range variables {
		fmt.Fprintf(w, "| %s, %s |", v.Variable, v.Unit)
		for _, m := range methods {
			fmt.Fprintf(w, " %s |", cells[m+" "+v.Variable])
		}
		fmt.Fprintln(w)
	}
	fmt.Fprint(w, "\nMean pressure is kept by every method, so central_map is how much it falls from one place to the other, and central_sbp holds that too; central_sbp_above_map is the part that the shape decides.\n")
	fmt.Fprintf(w, "\nn = %d subjects where nothing else is said. For comparison, published functions in paired catheter recordings: systolic 0.0 ± 4.4, pulse pressure −0.7 ± 4.2 mmHg (Pauca 2001, 62 patients, read in a citing page).\n\n", t.Counts.Subjects)
}

func fittedMethod(t *schema.Transfer, method string) bool {
	for _, e := range t.Validated {
		if e.Method == method {
			return e.OutOfFold
		}
	}
	return false
}

// gainTable shows the whole hertz; the file has every quarter of one.
func gainTable(w io.Writer, t *schema.Transfer) {
	fmt.Fprint(w, "## Gain\n\n| Hz | modulus | phase, feet aligned, ° | coherence | subjects |\n|---|---|---|---|---|\n")
	for _, r := range t.Table {
		if r.Hz != float64(int(r.Hz)) {
			continue
		}
		modulus, phase := fmt.Sprintf("%.3f", r.Modulus), fmt.Sprintf("%.1f", r.PhaseDeg)
		if r.ModulusLow != nil && r.ModulusHigh != nil {
			modulus += fmt.Sprintf(" (%.3f to %.3f)", *r.ModulusLow, *r.ModulusHigh)
		}
		if r.PhaseLowDeg != nil && r.PhaseHighDeg != nil {
			phase += fmt.Sprintf(" (%.1f to %.1f)", *r.PhaseLowDeg, *r.PhaseHighDeg)
		}
		fmt.Fprintf(w, "| %g | %s | %s | %.3f | %d |\n", r.Hz, modulus, phase, r.Coherence, r.Subjects)
	}
	fmt.Fprintln(w)
}

func tubeTable(w io.Writer, t *schema.Transfer) {
	fmt.Fprint(w, "## Tubes beside it\n\n| tube | numbers (standard error) | misfit |\n|---|---|---|\n")
	for _, u := range t.Tubes {
		var numbers []string
		for _, x := range u.Parameters {
			text := fmt.Sprintf("%s %.4g", x.Name, x.Value)
			if x.SE != nil {
				text += fmt.Sprintf(" (%.2g)", *x.SE)
			}
			numbers = append(numbers, text)
		}
		fmt.Fprintf(w, "| %s | %s | %.3f |\n", u.Method, strings.Join(numbers, ", "), u.Misfit)
	}
	fmt.Fprint(w, "\nMisfit: root mean square difference to the measured gain, weighted by the power of the peripheral wave. shift_ms is the time from the central foot to that at the artery as the tube has it.\n\n")
}

// methods says what was done, in words for a paper.
func methods(w io.Writer, t *schema.Transfer) {
	b := t.Settings.Beats
	fmt.Fprintf(w, "## Methods\n\nBeats were found in each recording after a zero-phase low-pass (%g Hz), judged, and averaged from foot to foot; at least %d accepted beats of at least %g s were needed on each side. "+
		"Recordings on one clock were averaged over the beats that both accepted. Harmonics of the peripheral wave within three standard errors over its beats were left out. "+
		"The gain of a pair at its harmonics, feet aligned, was carried to a grid of %g Hz by a cubic that is 1 at 0 Hz; cross- and power spectra in units of peripheral pulse pressure were averaged over the pairs of a subject, then summed over subjects: "+
		"gain Σ Sxy / Σ Sxx (%s), coherence |Σ Sxy|² / (Σ Sxx · Σ Syy). ", b.LowpassHz, b.MinAccepted, b.MinSeconds, t.Settings.StepHz, t.Method)
	if t.BandMethod != "" {
		fmt.Fprintf(w, "Bands are pointwise %g %% intervals (%s). ", 100*t.Level, t.BandMethod)
	}
	fmt.Fprint(w, "Tubes were fitted to the gain by least squares with that weight. Folds of the validation are of whole subjects, dealt out by the SHA-256 of their ids.\n\n")
}

// escape makes text safe within XML.
func escape(s string) string {
	var b bytes.Buffer
	// A bytes.Buffer takes everything.
	_ = xml.EscapeText(&b, []byte(s))
	return b.String()
}
