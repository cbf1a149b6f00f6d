package recording

import (
	"bytes"
	"math"
	"strconv"
	"strings"

	"tonocohort/schema"
)

// The WFDB header: https://physionet.org/physiotools/wag/header-5.htm. Base
// time, base date and the comments are never looked at.

// wfdbHeader is one .hea file.
type wfdbHeader struct {
	file     string
	frameHz  float64 // 0: not given
	frames   int     // -1: not given
	signals  []wfdbSignal
	segments []wfdbSegment // of a multi-segment record, which has no signals
}

// wfdbSignal is one signal line.
type wfdbSignal struct {
	line       int
	file       string
	storage    int
	perFrame   int
	skew       int // frames by which the samples are late
	offset     int // bytes before the first sample
	gain       float64
	baseline   int
	unit       string
	calibrated bool
	initial    int
	hasInitial bool
	checksum   uint16
	hasSum     bool
	name       string
}

// wfdbSegment is one segment line.
type wfdbSegment struct {
	line   int
	name   string // "~" for a gap
	frames int
}

// Limits on what a header may claim (own choice): far above any recorder.
const (
	mostSignals  = 4096
	mostPerFrame = 1 << 20
	mostSegments = 1 << 20
	smallestGain = 1e-9
)

// headerParser walks the lines of a header.
type headerParser struct {
	file string
	all  []byte
	rest []byte
	line int
}

// next gives the fields of the next line that is neither blank nor comment.
func (p *headerParser) next() []string {
	for len(p.rest) > 0 {
		line, rest, _ := bytes.Cut(p.rest, []byte{'\n'})
		p.rest = rest
		p.line++
		if line = bytes.TrimSpace(line); len(line) > 0 && line[0] != '#' {
			return strings.Fields(string(line))
		}
	}
	return nil
}

func (p *headerParser) fault(code, name, value, message, hint string) error {
	i := fault(p.file, code, message, hint)
	i.Row, i.Name, i.Value = p.line, name, shorten([]byte(value))
	return i
}

// formHint tells what a file may be that is no header.
func (p *headerParser) formHint() string {
	if utf16Text(p.all) {
		return "is UTF-16 text: save it as UTF-8"
	}
	return "name the header of the record, which ends in " + headerEnding
}

// parseWFDBHeader reads a header.
func parseWFDBHeader(file string, data []byte) (*wfdbHeader, error) {
	p := &headerParser{file: file, all: data, rest: bytes.TrimPrefix(data, byteOrderMark())}
	fields := p.next()
	if len(fields) < 2 || bytes.IndexByte(data, 0) >= 0 {
		return nil, p.fault(CodeWFDBHeader, "", "", "is not a WFDB header: no line with a record name and a number of signals", p.formHint())
	}
	h := &wfdbHeader{file: file, frames: -1}
	_, parts, multi := strings.Cut(fields[0], "/")
	count, ok := boundedInt(fields[1], 0, mostSignals)
	if !ok {
		return nil, p.fault(CodeWFDBHeader, "number of signals", "", "is no number from 0 to "+strconv.Itoa(mostSignals), mendHeader)
	}
	if err := h.recordLine(p, fields[2:]); err != nil {
		return nil, err
	}
	if multi {
		segments, ok := boundedInt(parts, 1, mostSegments)
		if !ok {
			return nil, p.fault(CodeWFDBHeader, "number of segments", "", "is no number from 1 to "+strconv.Itoa(mostSegments), mendHeader)
		}
		return h, h.segmentLines(p, segments)
	}
	return h, h.signalLines(p, count)
}

// recordLine reads what follows name and number of signals: frame rate with
// counter frequency, number of frames, base time, base date. Either of the
// first two may be left out, as the base time shows by its colon.
func (h *wfdbHeader) recordLine(p *headerParser, fields []string) error {
	if len(fields) == 0 || strings.Contains(fields[0], ":") {
		return nil
	}
	rate, _, _ := strings.Cut(fields[0], "/")
	hz, ok := parseNumber([]byte(rate), '.')
	if !ok || !(hz > 0) {
		return p.fault(CodeWFDBHeader, "sampling rate", "", "is no number above 0"+commaWords(rate), mendHeader)
	}
	h.frameHz = hz
	if len(fields) == 1 || strings.Contains(fields[1], ":") {
		return nil
	}
	frames, ok := boundedInt(fields[1], 0, math.MaxInt/mostPerFrame)
	if !ok {
		return p.fault(CodeWFDBHeader, "number of samples", "", "is no whole number", mendHeader)
	}
	if frames > 0 {
		h.frames = frames
	}
	return nil
}

func (h *wfdbHeader) segmentLines(p *headerParser, count int) error {
	for range count {
		fields := p.next()
		if len(fields) < 2 {
			return p.fault(CodeWFDBHeader, "", "", "ends before its last segment", mendHeader)
		}
		frames, ok := boundedInt(fields[1], 0, math.MaxInt/mostPerFrame)
		if !ok {
			return p.fault(CodeWFDBHeader, "segment length", fields[1], "is no whole number", mendHeader)
		}
		h.segments = append(h.segments, wfdbSegment{line: p.line, name: fields[0], frames: frames})
	}
	return nil
}

func (h *wfdbHeader) signalLines(p *headerParser, count int) error {
	for range count {
		fields := p.next()
		if len(fields) < 2 {
			return p.fault(CodeWFDBHeader, "", "", "ends before its last signal", mendHeader)
		}
		s := wfdbSignal{line: p.line, file: fields[0], perFrame: 1, gain: uncalibratedGain}
		if err := s.storageField(p, fields[1]); err != nil {
			return err
		}
		if err := s.otherFields(p, fields[2:]); err != nil {
			return err
		}
		h.signals = append(h.signals, s)
	}
	return nil
}

// uncalibratedGain is the gain by convention where a header gives none.
const uncalibratedGain = 200

// storageField reads format[xSamplesPerFrame][:skew][+byte offset].
func (s *wfdbSignal) storageField(p *headerParser, field string) error {
	text, offset, hasOffset := strings.Cut(field, "+")
	text, skew, hasSkew := strings.Cut(text, ":")
	text, perFrame, hasPerFrame := strings.Cut(text, "x")
	var ok [4]bool
	s.storage, ok[0] = boundedInt(text, 0, 1<<20)
	if ok[1] = !hasPerFrame; hasPerFrame {
		s.perFrame, ok[1] = boundedInt(perFrame, 1, mostPerFrame)
	}
	if ok[2] = !hasSkew; hasSkew {
		s.skew, ok[2] = boundedInt(skew, 0, math.MaxInt32)
	}
	if ok[3] = !hasOffset; hasOffset {
		s.offset, ok[3] = boundedInt(offset, 0, math.MaxInt32)
	}
	if ok != [4]bool{true, true, true, true} {
		return p.fault(CodeWFDBStorage, "format", field, "cannot be read", "the form is format[xN][:skew][+offset], with N at least 1")
	}
	return nil
}

// otherFields reads gain[(baseline)][/unit], resolution, zero, initial value,
// checksum, block size and the description, all of which may be absent.
func (s *wfdbSignal) otherFields(p *headerParser, fields []string) error {
	if len(fields) == 0 {
		return nil
	}
	hasBaseline, err := s.gainField(p, fields[0])
	if err != nil {
		return err
	}
	number := func(k int, name string, into *int) error {
		if len(fields) <= k {
			return nil
		}
		v, ok := boundedInt(fields[k], -1<<32, 1<<32)
		if !ok {
			hint := mendHeader
			if k == 1 {
				hint = "a unit has no blank: write mm_Hg or mmHg"
			}
			return p.fault(CodeWFDBHeader, name, fields[k], "is no whole number", hint)
		}
		*into = v
		return nil
	}
	var resolution, zero, sum, block int
	for k, f := range []struct {
		name string
		into *int
	}{{"resolution", &resolution}, {"zero", &zero}, {"initial value", &s.initial}, {"checksum", &sum}, {"block size", &block}} {
		if err := number(k+1, f.name, f.into); err != nil {
			return err
		}
	}
	if !hasBaseline {
		s.baseline = zero
	}
	s.hasInitial, s.hasSum, s.checksum = len(fields) > 3, len(fields) > 4, uint16(sum)
	if len(fields) > 6 {
		s.name = strings.Join(fields[6:], " ")
	}
	return nil
}

// gainField reads gain[(baseline)][/unit] and reports whether there is a
// baseline.
func (s *wfdbSignal) gainField(p *headerParser, field string) (bool, error) {
	bad := func(message string) error {
		return p.fault(CodeWFDBGain, "gain", field, message, "the form is gain(baseline)/unit, as in 12.84(-1605)/mmHg")
	}
	text, unit, _ := strings.Cut(field, "/")
	text, rest, hasBaseline := strings.Cut(text, "(")
	gain, ok := parseNumber([]byte(text), '.')
	if !ok || gain != 0 && math.Abs(gain) < smallestGain {
		return false, bad("the gain is no plausible number" + commaWords(text))
	}
	if hasBaseline {
		inner, after, closed := strings.Cut(rest, ")")
		if s.baseline, ok = boundedInt(inner, -1<<32, 1<<32); !ok || !closed || after != "" {
			return false, bad("the baseline is no whole number in brackets")
		}
	}
	if _, isNumber := parseNumber([]byte(unit), '.'); isNumber {
		return false, bad("the unit is a number")
	}
	s.unit, s.calibrated = unit, gain != 0
	if s.calibrated {
		s.gain = gain
	}
	return hasBaseline, nil
}

// boundedInt reads a whole number from low to high.
func boundedInt(text string, low, high int) (int, bool) {
	v, err := strconv.Atoi(text)
	return v, err == nil && v >= low && v <= high
}

// names lists the names of the signals; one without a name has "".
func (h *wfdbHeader) names() []string {
	names := make([]string, len(h.signals))
	for i := range h.signals {
		names[i] = h.signals[i].name
	}
	return names
}

// fault is an Issue about one line of the header.
func (h *wfdbHeader) fault(line int, code, message, hint string) *schema.Issue {
	i := fault(h.file, code, message, hint)
	i.Row = line
	return i
}
