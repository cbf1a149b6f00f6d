package report

import (
	"bytes"
	"fmt"
	"strings"

	"tonocohort/schema"
	"tonocohort/schema/published"
)

// hidden says how much disclosure control took, by rule.
func hidden(s Source, style Style) section {
	sec := section{ID: "hidden", Title: "What is not shown, and by which rule"}
	f := s.frame("disclosure")
	if f == nil {
		sec.Paragraphs = []string{"Disclosure control hid nothing."}
		return sec
	}
	t := &Table{Name: "table_disclosure", Title: "Rows in which disclosure control hid something", Stub: []string{"Table", "Rule"}, Columns: []string{"Rows", "of"}}
	for row := range f.N {
		t.add([]string{f.TextAt(row, "table"), f.TextAt(row, "meaning")}, cell(f, row, "rows", style.Count), cell(f, row, "rows_in_table", style.Count))
	}
	t.note("A row can fall under several rules. " + Confidential + " in a table of this report is a number that a rule hid: neither zero nor missing.")
	sec.Paragraphs = []string{"Everything in this report passed the same rules as the tables beside it."}
	sec.Tables = []*Table{t}
	return sec
}

// methodsPart has the words of methods.md.
func methodsPart(s Source) section {
	sec := section{ID: "methods", Title: "Methods", Strobe: "4 to 12"}
	var b bytes.Buffer
	if err := WriteMethods(&b, s); err != nil {
		sec.Paragraphs = []string{"The methods could not be written: " + err.Error()}
		return sec
	}
	for _, paragraph := range strings.Split(strings.TrimSpace(b.String()), "\n\n")[1:] {
		if paragraph != schema.Caution {
			sec.Paragraphs = append(sec.Paragraphs, paragraph)
		}
	}
	return sec
}

// limits says what nobody should forget who reads the numbers.
func limits() section {
	return section{ID: "limits", Title: "Limits", Strobe: "19, 20", List: []string{
		"Central pressure is estimated, not measured. Against catheters, methods of this kind came within −1.1 ± 4.1 mmHg of central SBP when calibrated to invasive pressure, and −8.2 ± 10.3 mmHg when calibrated to cuff pressure (Cheng 2013): the cuff, not the transfer, makes most of the error.",
		"Central pressure need not tell more than the cuff: its brachial twin stands beside every central result.",
		"Intervals tell of the number of people, not of what all measurements have in common, as the calibration.",
		"Associations are not effects.",
	}}
}

// reference is a source with the setting that calls for it.
type reference struct {
	text  string
	wants bool
}

// references lists the sources of the methods that the settings chose.
func references(s Source) section {
	a, central := s.Settings.Analysis, s.Settings.Central
	methods := append([]string{central.Method}, central.Also...)
	uses := func(name string) bool {
		for _, m := range methods {
			if m == name {
				return true
			}
		}
		return false
	}
	errors := map[string]bool{}
	for _, m := range a.Models {
		errors[m.Errors] = true
	}
	list := []reference{
		{"STROBE statement: von Elm E, Altman DG, Egger M, et al. Lancet 2007;370:1453–7; volume and pages from memory.", true},
		{"Resonance of the arm: Karamanoglu M, O'Rourke MF, Avolio AP, Kelly RP. Eur Heart J 1993;14:160–7.", uses("tube_constant") || uses("tube_windkessel")},
		{"Tube models of the arm: Gao M, et al. Sci Rep 2016;6:33230.", uses("tube_constant") || uses("tube_windkessel") || uses("tube_individual")},
		{"Moving average: Williams B, Lacy PS, et al. J Am Coll Cardiol 2011;57:951–61.", uses("moving_average")},
		{"Accuracy against catheters: Cheng HM, et al. Int J Cardiol 2013;167:1867–76; Papaioannou TG, et al. J Hypertens 2016;34(7); Picone DS, et al. J Am Coll Cardiol 2017;70:572–86.", true},
		{"Central pulse pressure of 50 mmHg and outcomes: Roman MJ, et al. J Am Coll Cardiol 2009;54:1730–4.", a.Threshold["central_pp_mmhg"] == 50},
		{"Augmentation index and heart rate: Wilkinson IB, et al. J Physiol 2000;525:263–70; volume and pages from memory.", strings.Contains(strings.Join(a.Variables, " "), "augmentation_index")},
		{"Sample quantiles: Hyndman RJ, Fan Y. Am Stat 1996;50:361–5; volume and pages from memory.", true},
		{"Intervals of shares: Wilson EB. J Am Stat Assoc 1927;22:209–12; volume and pages from memory.", true},
		{"Centiles by LMS: Cole TJ, Green PJ. Stat Med 1992;11:1305–19.", s.frame("centiles") != nil},
		{"Standard errors HC3: Long JS, Ervin LH. Am Stat 2000;54:217–24.", errors["hc3"]},
		{"Limits of agreement: Bland JM, Altman DG. Stat Methods Med Res 1999;8:135–60; volume and pages from memory.", s.frame("agreement") != nil},
		{"Colours of the figures: Okabe M, Ito K. Color Universal Design, 2008.", true},
	}
	sec := section{ID: "references", Title: "References"}
	for _, r := range list {
		if r.wants {
			sec.List = append(sec.List, r.text)
		}
	}
	for _, name := range a.CompareWith {
		if set, err := published.Among(s.Own, name); err == nil {
			sec.List = append(sec.List, "Published values "+name+": "+set.Source)
		}
	}
	return sec
}

// origin says what the report was made from and by, and how to make it again.
func origin(s Source) section {
	b := s.Build
	sec := section{ID: "origin", Title: "Build, digests, and how to compute this again", Command: s.Again}
	sec.Paragraphs = []string{
		fmt.Sprintf("Made by %s %s (%s, %s) from released tables alone. Inputs are named by digest; the manifest of the results, which stays with the study, has the rest.", b.Program, b.Version, b.Go, b.Architecture),
		"Whoever has the study computes everything again, and compares cell by cell, by",
	}
	if b.Executable != "" {
		sec.Digests = append(sec.Digests, digest{"program, SHA-256", b.Executable})
	}
	for i, d := range s.Inputs {
		sec.Digests = append(sec.Digests, digest{fmt.Sprintf("input %d of %d, SHA-256", i+1, len(s.Inputs)), d})
	}
	for _, f := range s.Files {
		if strings.HasSuffix(f.Path, ".csv") && !strings.HasPrefix(f.Path, "table_") {
			sec.Digests = append(sec.Digests, digest{f.Path + ", SHA-256", f.SHA256})
		}
	}
	return sec
}
