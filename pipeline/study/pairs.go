package study

import (
	"math"
	"path"
	"slices"
	"strings"

	"tonocohort/schema"
)

// Pairs is a table of paired recordings after every check.
type Pairs struct {
	Rows   []Pair // in the order of the table
	Issues []schema.Issue
	Input  Input
}

// Pair is one row: a central and a peripheral recording of one person.
type Pair struct {
	ID, SubjectID         string
	Central, Peripheral   PairSide
	Format, Unit          string
	Artery, CentralArtery string
	SamplingHz            float64 // 0: not declared
	DBP, MAP              float64 // mmHg; NaN where missing
	Simultaneous          bool
	Fault                 string // code of the Issue for which it cannot be used; "": none
	Line                  int
}

// PairSide is one of the two recordings.
type PairSide struct{ File, Channel string }

// LoadPairs reads a table of paired recordings. It always returns Pairs, with
// everything that is wrong in their Issues: a fault of one row is of size
// recording and takes that pair away, anything else is structural.
func LoadPairs(source Source, file string, o Options) *Pairs {
	l := &loader{source: source, options: o, study: &Study{Settings: schema.DefaultSettings()}}
	pairs := &Pairs{}
	if data, ok := l.read(file, DefaultTableLimit, schema.Issue{File: file}); ok {
		pairs.Input = l.study.Inputs[0]
		text, notes := plainText(data, file, l.study.Settings.CSV)
		l.log.issues = append(l.log.issues, notes...)
		if text != nil {
			if t := open(l, schema.PairsInput(), file, text, nil); t != nil {
				pairs.Rows = l.readPairs(t)
			}
		}
	}
	l.finish()
	pairs.Issues = l.study.Issues
	for i := range pairs.Issues {
		pairs.Issues[i].Hint = withoutSettings(pairs.Issues[i].Hint)
	}
	return pairs
}

// withoutSettings takes out what a hint says of study.yaml, which a table of
// pairs does not have.
func withoutSettings(hint string) string {
	for _, setting := range []string{"recode:", "csv:", "csv.", "units:", "declare under covariates", "; a decimal comma is one: csv"} {
		if at := strings.Index(hint, setting); at >= 0 {
			hint = strings.TrimRight(hint[:at], " ,;")
		}
	}
	return hint
}

func (l *loader) readPairs(t *tableReader) []Pair {
	id, subject := t.column("pair_id"), t.column("subject_id")
	lines := map[string]int{}
	var rows []Pair
	for t.next() {
		row := Pair{Line: t.rows.line(0)}
		fail := func(i int, text string, f fault) {
			issue := t.issue(i, schema.SizeRecording, text, f)
			t.log.add(issue)
			if row.Fault == "" {
				row.Fault = f.code
			}
		}
		for _, k := range []struct {
			column int
			into   *string
		}{{id, &row.ID}, {subject, &row.SubjectID}} {
			text := t.raw(k.column)
			if f := scanIdentifier(text); text == "" {
				fail(k.column, "", fault{"empty_key", "empty, but the row cannot be placed without it", ""})
			} else if f != nil {
				fail(k.column, text, *f)
			}
			*k.into = strings.Clone(text)
		}
		t.subjectID, t.recordingID = row.SubjectID, row.ID
		if first, twice := lines[row.ID]; twice && row.ID != "" {
			t.duplicate(id, int32(first))
		}
		lines[row.ID] = row.Line
		t.describePair(&row, l.options, fail)
		rows = append(rows, row)
	}
	return rows
}

// describePair reads the cells of a row that say what the waves are.
func (t *tableReader) describePair(p *Pair, o Options, fail func(int, string, fault)) {
	level := func(name, otherwise string) string {
		i := t.column(name)
		text := t.raw(i)
		f := scanLevel(text, name, t.columns[i].Levels)
		switch {
		case text == "" && otherwise == "":
			fail(i, "", fault{"missing_value", "empty: " + strings.Join(t.columns[i].Levels, " or ") + " is needed", ""})
		case text == "":
			return otherwise
		case f != nil:
			fail(i, text, *f)
		}
		return t.columns[i].keep(text)
	}
	p.Artery, p.CentralArtery = level("artery", ""), level("central_artery", "aortic")
	p.Format, p.Unit = level("format", "csv"), level("unit", "mmHg")
	if able := o.RecordingFormats; p.Fault == "" && able != nil && !slices.Contains(able, p.Format) {
		fail(t.column("format"), p.Format, fault{"not_supported", "this version cannot read the format", "supported: " + strings.Join(able, ", ")})
	}
	for _, side := range []struct {
		name string
		into *PairSide
	}{{"central", &p.Central}, {"peripheral", &p.Peripheral}} {
		i := t.column(side.name + "_file")
		switch text := t.raw(i); {
		case text == "":
			fail(i, "", fault{"no_file", "names no file", ""})
		case !isLocal(text) || scanText(strings.TrimLeft(text, "=+-@")) != nil:
			fail(i, text, fault{"file_outside_folder", "the path must stay inside the folder of the table", "a relative path with '/', without '..'"})
		default:
			side.into.File = strings.Clone(path.Clean(text))
		}
		side.into.Channel = strings.Clone(t.raw(t.column(side.name + "_channel")))
	}
	if i := t.column("sampling_hz"); t.raw(i) != "" {
		v, f := t.number(&t.columns[i], t.raw(i))
		if f != nil {
			fail(i, t.raw(i), *f)
		} else {
			p.SamplingHz = v
		}
	}
	p.DBP, p.MAP = t.cell(t.column("dbp_mmhg")).Number, t.cell(t.column("map_mmhg")).Number
	if p.Unit == "au" && !(p.MAP > p.DBP) {
		fail(t.column("unit"), p.Unit, fault{"no_scale", "waves in au need dbp_mmhg and a higher map_mmhg", "give the pressures, or declare mmHg"})
	}
	otherwise := "no"
	if p.Central.File != "" && p.Central.File == p.Peripheral.File {
		otherwise = "yes"
	}
	p.Simultaneous = level("simultaneous", otherwise) == "yes"
	if p.Unit == "mmHg" && !(math.IsNaN(p.DBP) && math.IsNaN(p.MAP)) {
		t.log.note(noteKey{t.file, "unit", "pressure_not_used", 0}, p.Line, "dbp_mmhg and map_mmhg give waves in au their scale and are not used for mmHg", "")
	}
}
