package recording

import (
	"bytes"
	"encoding/json"
	"errors"
	"maps"
	"path"
	"slices"
	"strings"

	"tonocohort/schema"
)

// The names of physiological recordings in BIDS: entities, then the suffix
// (https://bids-specification.readthedocs.io, physiological recordings).
const (
	physioEnding  = "_physio.tsv.gz"
	sidecarEnding = "_physio.json"
)

// readBIDS reads one column of a BIDS physiological recording: a table without
// header line, whose columns and rate stand in side files. Every side file that
// applies is read, from the study folder down to that of the recording; what
// stands in a deeper one holds (the inheritance principle).
func (x *reading) readBIDS() error {
	if !strings.HasSuffix(x.File, physioEnding) {
		return x.fault(CodeBIDSName, "is no physiological recording of BIDS", "its name must end in "+physioEnding)
	}
	side, err := x.sidecars()
	if err != nil {
		return err
	}
	k, err := x.pickColumn(side.Columns)
	if err != nil {
		return err
	}
	switch hz := side.SamplingFrequency; {
	case hz != nil:
		if err := x.setRate(*hz); err != nil {
			return err
		}
		x.SamplingHz = *hz
	case x.SamplingHz == 0:
		return x.fault(CodeSamplingMissing, "no side file gives SamplingFrequency, and no rate is declared", "give it in the side file, or sampling_hz in the recordings table")
	}
	data, err := x.openText()
	if err != nil {
		return err
	}
	t := &table{file: x.File, data: data, firstLine: 1, delimiter: '\t', point: '.', missing: "n/a", strict: true}
	for _, name := range side.Columns {
		t.columns = append(t.columns, column{name: name, end: "\t"})
	}
	t.columns[len(t.columns)-1].end = "\n"
	if first, _, _, err := t.cell(0, -1); err == nil && string(first) == side.Columns[0] {
		return x.fault(CodeBIDSHeaderLine, "has a header line, which the format does not allow", "take the line out; Columns of the side file names the columns")
	}
	if err := x.readColumns(t, k, -1); err != nil {
		return err
	}
	return x.setUnit(side.units[side.Columns[k]])
}

// sidecar is what the reader needs of the side files.
type sidecar struct {
	SamplingFrequency *float64
	Columns           []string
	units             map[string]string
}

// pickColumn finds the column that the channel names; without a channel there
// must be one column alone.
func (x *reading) pickColumn(columns []string) (int, error) {
	switch {
	case len(columns) == 0:
		return 0, x.fault(CodeBIDSSidecar, "no side file gives Columns", "list the names of the columns in the side file")
	case x.Channel == "" && len(columns) == 1:
		return 0, nil
	case x.Channel == "":
		return 0, x.fault(CodeChannelRequired, "has "+plural(len(columns), "column"), "name one in channel, by name or position from 1")
	}
	return x.pick(columns)
}

// sidecars reads the side files that apply.
func (x *reading) sidecars() (sidecar, error) {
	side := sidecar{units: map[string]string{}}
	found := false
	for _, dir := range foldersTo(x.File) {
		names, err := x.sidecarNames(dir)
		if err != nil {
			return side, err
		}
		applies := ""
		for _, name := range names {
			if !appliesTo(name, path.Base(x.File)) {
				continue
			}
			if applies != "" {
				return side, x.fault(CodeBIDSSidecar, "two side files of one folder apply", "BIDS allows one in each folder")
			}
			applies = name
		}
		if applies == "" {
			continue
		}
		found = true
		if err := x.readSidecar(path.Join(dir, applies), &side); err != nil {
			return side, err
		}
	}
	if !found {
		return side, x.fault(CodeBIDSSidecar, "has no side file", "a side file with SamplingFrequency and Columns must stand beside it, or in a folder above")
	}
	return side, nil
}

// foldersTo lists the folders from the study folder down to that of the file.
func foldersTo(file string) []string {
	dirs := []string{"."}
	for i, c := range path.Clean(file) {
		if c == '/' && i > 0 {
			dirs = append(dirs, path.Clean(file)[:i])
		}
	}
	return dirs
}

// mostListings is how many folders' side files a Reader remembers.
const mostListings = 256

// sidecarNames lists the side files of a folder. It is remembered, since the
// folder of a data set may hold a folder for each of many subjects.
func (x *reading) sidecarNames(dir string) ([]string, error) {
	if names, ok := x.listings[dir]; ok {
		return names, nil
	}
	all, err := x.source.Names(dir)
	if err != nil {
		return nil, sourceFault(dir, err)
	}
	names := []string{}
	for _, name := range all {
		if name == sidecarEnding[1:] || strings.HasSuffix(name, sidecarEnding) {
			names = append(names, name)
		}
	}
	if x.listings == nil || len(x.listings) >= mostListings {
		x.listings = map[string][]string{}
	}
	x.listings[dir] = names
	return names, nil
}

// appliesTo reports whether every entity of the side file is one of the
// recording's.
func appliesTo(sidecar, recording string) bool {
	entities := strings.Split(strings.TrimSuffix(recording, physioEnding), "_")
	for _, entity := range strings.Split(strings.TrimSuffix(strings.TrimSuffix(sidecar, sidecarEnding[1:]), "_"), "_") {
		if entity != "" && !slices.Contains(entities, entity) {
			return false
		}
	}
	return true
}

// readSidecar reads one side file over what those above it said.
func (x *reading) readSidecar(file string, side *sidecar) error {
	data, err := x.open(file, &x.text, x.options.HeaderSize)
	if err != nil {
		return err
	}
	bad := func(name, message string) error {
		i := fault(file, CodeBIDSSidecar, message, "correct the side file: {\"SamplingFrequency\": 200, \"StartTime\": 0, \"Columns\": [\"artery\"]} is the form")
		i.Name = name
		return i
	}
	if bytes.HasPrefix(data, byteOrderMark()) {
		i := fault(file, CodeByteOrderMark, "starts with a byte order mark, which is skipped", "")
		i.Size = schema.SizeNote
		x.rec.Notes = append(x.rec.Notes, *i)
		data = data[3:]
	}
	if utf16Text(data) {
		return fault(file, CodeUTF16, "is UTF-16 text", strictHint)
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(data, &fields); err != nil {
		return bad("", "is no JSON object: "+jsonReason(err))
	}
	if text, ok := fields["SamplingFrequency"]; ok {
		var hz float64
		if err := json.Unmarshal(text, &hz); err != nil || !(hz > 0) {
			return bad("SamplingFrequency", "is no number above 0")
		}
		side.SamplingFrequency = &hz
	}
	if text, ok := fields["Columns"]; ok {
		side.Columns = nil
		if err := json.Unmarshal(text, &side.Columns); err != nil || len(side.Columns) == 0 || len(side.Columns) > mostSignals {
			return bad("Columns", "is no list of names")
		}
	}
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		var about struct{ Units string }
		if json.Unmarshal(fields[name], &about) == nil && about.Units != "" {
			side.units[name] = about.Units
		}
	}
	return nil
}

// jsonReason tells where the text stops being JSON, without quoting it.
func jsonReason(err error) string {
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		return syntax.Error()
	}
	return "it holds something else"
}
