package sheets

import (
	"fmt"
	"html/template"
	"strings"
)

// view is a sheet as the page shows it.
type view struct {
	*Sheet
	Number               int // in the book, from 1
	Where                []string
	GradeMark, GradeWord string
	Why                  []string
	Became               string
	Reviews              []string
	Trace                template.HTML // hides that of the sheet
	TraceNote            string
	Found                string
	Rejected             []reasonCount
	Beats                []beatLine
	Overlay              template.HTML
	OverlayNote          string
	Waves                []waveView
	NoWaves              []string
	Scaled               string
	Columns              []columnView
	Rows                 []rowView
	Absent               string
}

type beatLine struct {
	Number                          int
	Foot, Period, Likeness, Verdict string
}

type waveView struct {
	Image   template.HTML
	Caption string
	This    bool
}

type columnView struct {
	Recording, Grade, Status, Link string
	This                           bool
}

type rowView struct {
	Label, Unit string
	Cells       []string
}

func newView(b *Book, s *Sheet, number int) *view {
	v := &view{Sheet: s, Number: number, GradeMark: gradeMark(s.Grade), GradeWord: orElse(s.Grade, "no grade"), Rejected: rejections(s.Beats)}
	for _, w := range []struct{ what, is string }{{"", s.Artery}, {"", s.Side}, {"centre ", s.Centre}, {"operator ", s.Operator}, {"device ", s.Device}} {
		if w.is != "" {
			v.Where = append(v.Where, w.what+w.is)
		}
	}
	for _, r := range s.GradeReasons {
		v.Why = append(v.Why, meant(r))
	}
	v.Became = became(s)
	for _, r := range s.Reviews {
		v.Reviews = append(v.Reviews, reviewLine(r))
	}
	if s.Trace != nil {
		v.Trace, v.TraceNote = traceFigure(s)
		if len(s.Beats) > 0 {
			v.Overlay, v.OverlayNote = overlay(s)
		}
	}
	v.Found = beatCount(s.Beats)
	v.beats()
	v.waves()
	v.values(b)
	var absent []string
	for _, n := range s.IndexNotes {
		what, why, _ := strings.Cut(n, ":")
		absent = append(absent, words(what)+" ("+words(why)+")")
	}
	v.Absent = strings.Join(absent, ", ")
	return v
}

func beatCount(beats []Beat) string {
	if len(beats) == 0 {
		return "No beat was found."
	}
	return fmt.Sprintf("%d beats found: ● %d accepted, ✕ %d rejected.", len(beats), accepted(beats), len(beats)-accepted(beats))
}

// became says what the results made of the recording.
func became(s *Sheet) string {
	text := "In the results: " + s.Status
	if s.Reason != "" {
		text += ", " + meant(s.Reason)
	}
	if s.Detail != "" {
		text += " (" + s.Detail + ")"
	}
	switch s.ProgramDecision {
	case "":
		return text + ". The grade says nothing."
	case "accept":
		return text + ". By its grade alone it would be accepted."
	}
	return text + ". By its grade alone it would be rejected."
}

func reviewLine(r Review) string {
	text := r.Decision + "ed by " + orElse(r.Reader, "a reader without a name")
	if r.ReadOn != "" {
		text += " on " + r.ReadOn
	}
	if r.Reason != "" {
		text += ": " + r.Reason
	}
	if r.Pending {
		text += " — written after these results were made; the next run takes it up"
	}
	return text
}

func (v *view) beats() {
	for i, b := range v.Sheet.Beats {
		l := beatLine{Number: i + 1, Foot: number(b.FootS, 3), Period: orMissing(b.PeriodS, 3), Likeness: orMissing(b.Correlation, 3), Verdict: "● accepted"}
		if !b.Accepted {
			l.Verdict = "✕ " + words(b.Reason)
		}
		v.Beats = append(v.Beats, l)
	}
}

func orMissing(x float64, digits int) string {
	if missing(x) {
		return "none"
	}
	return number(x, digits)
}

// waves draws the average waves of every replicate in one frame, this one first.
func (v *view) waves() {
	s := v.Sheet
	x, y, any := wavesFrame(s.Replicates)
	order := []int{s.This}
	for i := range s.Replicates {
		if i != s.This {
			order = append(order, i)
		}
	}
	for _, i := range order {
		r := &s.Replicates[i]
		if !any || r.Waves == nil {
			text := r.Recording + " has no average beat in mmHg"
			if i != s.This {
				text = "Of the same visit: " + text
			}
			v.NoWaves = append(v.NoWaves, text+".")
			continue
		}
		caption := "Average waves of the same visit: " + r.Recording + " (" + orElse(r.Grade, "no grade") + ", " + r.Status + ")."
		if i == s.This {
			caption = "Average waves of this recording: unbroken " + ArteryWords(s.Artery) + ", broken aorta; ▲ shoulder, ■ end of ejection."
		}
		v.Waves = append(v.Waves, waveView{wavesFigure(r, ArteryWords(s.Artery), x, y), caption, i == s.This})
	}
}

func (v *view) values(b *Book) {
	v.Scaled = "Waves are " + calibratedTo(v.Calibration) + "."
	for i, r := range v.Replicates {
		v.Columns = append(v.Columns, columnView{r.Recording, orElse(r.Grade, "no grade"), r.Status, r.Link, i == v.This})
	}
	for k, q := range b.Quantities {
		row := rowView{Label: q.Label, Unit: q.Unit}
		for _, r := range v.Replicates {
			row.Cells = append(row.Cells, valueCell(r.Values[k], q.Digits))
		}
		v.Rows = append(v.Rows, row)
	}
}

func calibratedTo(calibration string) string {
	switch calibration {
	case "sbp_dbp":
		return "calibrated to brachial SBP and DBP"
	case "map_dbp":
		return "calibrated to brachial mean pressure and DBP"
	case "as_recorded":
		return "as they were recorded, in mmHg"
	}
	return "calibrated as " + words(calibration) + " says"
}

// normal975 is the quantile of the standard normal distribution behind a 95 %
// interval.
const normal975 = 1.959963984540054

func valueCell(v Value, digits int) string {
	if missing(v.Estimate) {
		return "none"
	}
	text := number(v.Estimate, digits)
	if missing(v.Error) {
		return text
	}
	half := normal975 * v.Error
	return text + " (" + number(v.Estimate-half, digits) + " to " + number(v.Estimate+half, digits) + ")"
}
