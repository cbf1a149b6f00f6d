package recording

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"path"
	"sort"
	"strings"

	"tonocohort/schema"
)

const headerEnding = ".hea"

// readWFDB reads one signal of a WFDB record, which the file names by its
// header. Samples are physical values, (raw - baseline) / gain; the smallest
// raw value of a format is a gap. The check sum, where the header gives one, must
// fit, else the initial value must. A record of several segments becomes one recording, its
// missing parts gaps.
func (x *reading) readWFDB() error {
	if !strings.HasSuffix(x.File, headerEnding) {
		return x.fault(CodeWFDBName, "is not the header of a WFDB record", "name the file that ends in "+headerEnding)
	}
	h, err := x.openHeader(x.File)
	if err != nil {
		return err
	}
	if len(h.segments) > 0 {
		return x.readSegments(h)
	}
	k, err := x.pickSignal(h)
	if err != nil {
		return err
	}
	stream, err := x.openSignal(h, k)
	if err != nil {
		return err
	}
	if h.frames >= 0 && stream.spare > 0 {
		x.note(CodeTrailingBytes, "the signal file is longer than the header says; the rest is not read")
	}
	if err := x.takes(stream.frames * stream.signal.perFrame); err != nil {
		return err
	}
	samples := room(&x.samples, stream.frames*stream.signal.perFrame)
	if err := x.decode(h, &stream, samples); err != nil {
		return err
	}
	x.rec.Samples = samples[:max(0, stream.frames-stream.signal.skew)*stream.signal.perFrame]
	return x.describe(h, &h.signals[k])
}

// openHeader reads and parses a header.
func (x *reading) openHeader(file string) (*wfdbHeader, error) {
	data, err := x.open(file, &x.text, x.options.HeaderSize)
	if err != nil {
		return nil, err
	}
	if bytes.IndexByte(data, '\n') < 0 && bytes.IndexByte(data, '\r') >= 0 {
		i := fault(file, CodeLoneCR, "lines end with a carriage return alone, which is accepted in a header", "")
		i.Size = schema.SizeNote
		x.rec.Notes = append(x.rec.Notes, *i)
		data = bytes.ReplaceAll(data, []byte{'\r'}, []byte{'\n'})
	}
	return parseWFDBHeader(file, data)
}

// describe sets rate and unit from the header and the signal's line.
func (x *reading) describe(h *wfdbHeader, s *wfdbSignal) error {
	switch {
	case h.frameHz > 0:
		if err := x.setRate(h.frameHz * float64(s.perFrame)); err != nil {
			return err
		}
	case x.SamplingHz > 0:
		x.rec.SamplingHz = x.SamplingHz
	default:
		return x.fault(CodeSamplingMissing, "the header gives no sampling rate, and none is declared", "give sampling_hz in the recordings table")
	}
	unit := s.unit
	switch {
	case !s.calibrated:
		x.note(CodeUncalibrated, fmt.Sprintf("the header gives no gain: %d by convention", uncalibratedGain))
		unit = "uncalibrated"
	case unit == "":
		unit = "mV" // what the format means by no unit
	}
	return x.setUnit(unit)
}

// pickSignal finds the signal that the channel names; without a channel the
// record must have one signal alone.
func (x *reading) pickSignal(h *wfdbHeader) (int, error) {
	switch {
	case len(h.signals) == 0:
		return 0, x.fault(CodeNoSamples, "has no signals", "name a header that lists signals")
	case x.Channel == "" && len(h.signals) == 1:
		return 0, nil
	case x.Channel == "":
		return 0, x.fault(CodeChannelRequired, fmt.Sprintf("has %d signals", len(h.signals)), "name one in channel, by name or position from 1")
	}
	return x.pick(h.names())
}

// wfdbStream is one signal within the interleaved samples of its file.
type wfdbStream struct {
	data        []byte // from the first sample on
	packing     storage
	signal      *wfdbSignal
	frames      int
	frameLength int // samples of all signals of the file in one frame
	first       int // place of the signal's first sample in a frame
	spare       int // frames in the file beyond those of the header
}

// isBareName reports the name of a file that lies beside its header.
func isBareName(name string) bool {
	return !strings.ContainsAny(name, `/\~`) && name != ".." && name != "-"
}

// openSignal reads the file of signal k and holds the header's claims against
// its length.
func (x *reading) openSignal(h *wfdbHeader, k int) (wfdbStream, error) {
	s := &h.signals[k]
	t := wfdbStream{signal: s}
	if !isBareName(s.file) {
		i := h.fault(s.line, CodeWFDBSignalPath, "the signal file must lie beside its header", "give its bare name")
		i.Name, i.Value = "file", shorten([]byte(s.file))
		return t, i
	}
	var ok bool
	if t.packing, ok = storageOf(s.storage); !ok {
		i := h.fault(s.line, CodeWFDBStorage, "this storage format is not supported", "supported are 8, 16, 24, 32, 61, 80, 160, 212, 310, 311, 508, 516 and 524")
		i.Name, i.Value = "format", fmt.Sprint(s.storage)
		return t, i
	}
	// Signals of one file follow each other in the header, interleaved by frame.
	from, to := k, k+1
	for from > 0 && h.signals[from-1].file == s.file {
		from--
	}
	for to < len(h.signals) && h.signals[to].file == s.file {
		to++
	}
	for i := from; i < to; i++ {
		if h.signals[i].storage != s.storage || h.signals[i].offset != s.offset {
			return t, h.fault(h.signals[i].line, CodeWFDBHeader, "signals of one file must have one format and one offset", mendHeader)
		}
		if i < k {
			t.first += h.signals[i].perFrame
		}
		t.frameLength += h.signals[i].perFrame
	}
	data, err := x.open(path.Join(path.Dir(h.file), s.file), &x.raw, x.options.FileBytes)
	if err != nil {
		return t, err
	}
	t.data = data[min(s.offset, len(data)):]
	spare := 0
	if flacBits(s.storage) > 0 {
		if t.data, spare, err = x.unpackFLAC(h, t.data, from, k, to); err != nil {
			return t, err
		}
		t.first, t.frameLength = 0, s.perFrame
	}
	whole := sort.Search(2*len(t.data), func(n int) bool { return t.packing.size(n+1) > len(t.data) }) / t.frameLength
	t.frames = h.frames
	if t.frames < 0 {
		t.frames = whole
	}
	if t.frames > whole {
		i := h.fault(s.line, CodeTruncated, fmt.Sprintf("the signal file holds %s, the header says %d", plural(whole, "frame"), t.frames), askWhole)
		i.Name, i.Value = "file", shorten([]byte(s.file))
		return t, i
	}
	t.spare = whole - t.frames + spare/s.perFrame
	return t, nil
}

// checksumHint also tells what accepts a record whose samples were changed on purpose.
const checksumHint = "get the record again from where it came; where the samples were changed on purpose, end the line behind the field zero"

// decode writes the physical values to out, which holds frames times samples
// per frame, and holds check sum and initial value against them. A skewed
// signal is moved up; its end is then missing.
func (x *reading) decode(h *wfdbHeader, t *wfdbStream, out []float64) error {
	s := t.signal
	sum, first := t.values(out)
	if s.hasSum && sum != s.checksum {
		return h.fault(s.line, CodeChecksum, fmt.Sprintf("the samples sum to %d, the header says %d (modulo 65536)", sum, s.checksum), checksumHint)
	}
	if s.hasInitial && t.frames > 0 && first != s.initial {
		i := h.fault(s.line, CodeInitialValue, fmt.Sprintf("the first sample is %d, the header says %d", first, s.initial), checksumHint)
		if !s.hasSum {
			return i
		}
		// The sum of all samples fits: it is the header that is wrong.
		i.Size, i.Hint = schema.SizeNote, ""
		x.rec.Notes = append(x.rec.Notes, *i)
	}
	return nil
}

// values writes the physical values to out, and gives the sum of all raw ones,
// those that the skew drops included, and the first.
func (t *wfdbStream) values(out []float64) (sum uint16, first int) {
	s, at, data, missing := t.signal, t.packing.at, t.data, t.packing.missing
	if s.storage == 16 && s.perFrame == 1 && s.skew == 0 && t.frames > 0 {
		return t.words(out)
	}
	perFrame, baseline, gain := s.perFrame, s.baseline, s.gain
	n, skipped, last := 0, s.skew*s.perFrame, s.initial
	for f := range t.frames {
		from := f*t.frameLength + t.first
		for k := from; k < from+perFrame; k++ {
			v := at(data, k)
			if t.packing.difference {
				last += v
				v = last
			}
			if k == t.first {
				first = v
			}
			sum += uint16(v)
			switch {
			case skipped > 0:
				skipped--
				continue
			case v == missing:
				out[n] = math.NaN()
			default:
				out[n] = float64(v-baseline) / gain
			}
			n++
		}
	}
	fill(out[n:])
	return sum, first
}

// words does what values does for the most usual form, one word of 16 bits a frame,
// without a call for each sample.
func (t *wfdbStream) words(out []float64) (sum uint16, first int) {
	baseline, gain, step := t.signal.baseline, t.signal.gain, 2*t.frameLength
	data, at := t.data[2*t.first:], 0
	for i := range out {
		raw := int16(binary.LittleEndian.Uint16(data[at:]))
		at += step
		sum += uint16(raw)
		if raw == math.MinInt16 {
			out[i] = math.NaN()
			continue
		}
		out[i] = float64(int(raw)-baseline) / gain
	}
	return sum, int(int16(binary.LittleEndian.Uint16(data)))
}
