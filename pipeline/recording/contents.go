package recording

import (
	"path"
	"slices"
	"strconv"
	"strings"
)

// Contents says what a file holds, from its header or side files alone. As in
// Read, names, dates and free text of people are never looked at.
type Contents struct {
	Channels []Channel
	Timed    bool     // csv, Parquet: there is a time column
	Files    []string // every file that belongs to the recording, the named one first; some may be missing
}

// Channel is one signal or column that could be a recording.
type Channel struct {
	Name       string
	Position   string  // from 1, as the recordings table takes it
	SamplingHz float64 // 0: the file does not say
	Unit       string  // mmHg, or au for anything else
}

// Contents looks into a file. Its error is a *schema.Issue like that of Read.
func (r *Reader) Contents(file, form string) (c Contents, err error) {
	// The same door as Read, for the same reason.
	defer r.recovered(file, &err)
	k, err := r.format(file, form)
	if err != nil {
		return Contents{}, err
	}
	x := &reading{Reader: r, Request: Request{File: file, Format: form}}
	if err := r.formats[k].contents(x, &c); err != nil {
		return Contents{}, err
	}
	files := []string{file}
	for _, in := range x.rec.Inputs {
		files = append(files, in.Path)
	}
	c.Files = unique(append(files, c.Files...))
	return c, nil
}

// unique keeps the first of each name.
func unique(names []string) []string {
	seen := make(map[string]bool, len(names))
	return slices.DeleteFunc(names, func(name string) bool {
		twice := seen[name]
		seen[name] = true
		return twice
	})
}

func (x *reading) csvContents(c *Contents) error {
	t, err := x.openCSV()
	if err != nil {
		return err
	}
	for i := range t.columns {
		if name := t.columns[i].name; name == timeColumn {
			c.Timed = true
		} else {
			c.Channels = append(c.Channels, Channel{Name: name, Position: strconv.Itoa(i + 1), Unit: unitArbitrary})
		}
	}
	return nil
}

func (x *reading) bidsContents(c *Contents) error {
	if !strings.HasSuffix(x.File, physioEnding) {
		return x.fault(CodeBIDSName, "is no physiological recording of BIDS", "its name must end in "+physioEnding)
	}
	side, err := x.sidecars()
	if err != nil {
		return err
	}
	hz := 0.0
	if side.SamplingFrequency != nil {
		hz = *side.SamplingFrequency
	}
	for i, name := range side.Columns {
		c.Channels = append(c.Channels, Channel{name, strconv.Itoa(i + 1), hz, unitOf(side.units[name])})
	}
	return nil
}

func (x *reading) edfContents(c *Contents) error {
	data, err := x.open(x.File, &x.raw, x.options.FileBytes)
	if err != nil {
		return err
	}
	h, err := x.parseEDFHeader(data)
	if err != nil {
		return err
	}
	for i := range h.signals {
		s := &h.signals[i]
		if s.annotations || s.samples == 0 || h.duration == 0 {
			continue
		}
		c.Channels = append(c.Channels, Channel{s.label, strconv.Itoa(i + 1), float64(s.samples) / h.duration, unitOf(s.unit)})
	}
	return nil
}

func (x *reading) wfdbContents(c *Contents) error {
	if !strings.HasSuffix(x.File, headerEnding) {
		return x.fault(CodeWFDBName, "is not the header of a WFDB record", "name the file that ends in "+headerEnding)
	}
	master, err := x.openHeader(x.File)
	if err != nil {
		return err
	}
	layout := master
	for i := range master.segments {
		s := &master.segments[i]
		if s.name == gapSegment {
			continue
		}
		h, err := x.segmentHeader(master, s)
		if err != nil {
			return err
		}
		if layout == master {
			layout = h
		}
		c.addSignalFiles(h)
	}
	c.addSignalFiles(master)
	for i := range layout.signals {
		s := &layout.signals[i]
		unit := unitOf(s.unit)
		if !s.calibrated {
			unit = unitArbitrary
		}
		hz := master.frameHz
		if hz == 0 {
			hz = layout.frameHz
		}
		c.Channels = append(c.Channels, Channel{s.name, strconv.Itoa(i + 1), hz * float64(s.perFrame), unit})
	}
	return nil
}

// addSignalFiles lists the signal files of a header that lie beside it; of a
// layout header there are none, which it calls "~".
func (c *Contents) addSignalFiles(h *wfdbHeader) {
	for i := range h.signals {
		if name := h.signals[i].file; isBareName(name) {
			c.Files = append(c.Files, path.Join(path.Dir(h.file), name))
		}
	}
}
