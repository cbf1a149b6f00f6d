package recording

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strings"
)

// segmentHint is the way out of headers that do not fit each other.
const segmentHint = "correct the headers so that they agree, or get the record again from where it came"

// gapSegment stands for a stretch without any signal.
const gapSegment = "~"

// readSegments joins the segments of a record. In a fixed layout every segment
// has the same signals in the same order; in a variable layout, which begins
// with a segment of length 0, the first header lists the signals by name and
// each segment has some of them. What a segment lacks is a gap.
func (x *reading) readSegments(master *wfdbHeader) error {
	variable := master.segments[0].frames == 0
	layout, at, k, err := x.layout(master)
	if err != nil {
		return err
	}
	segments := master.segments
	if variable {
		segments, at = segments[1:], -1
	}
	perFrame, total := layout.signals[k].perFrame, 0
	for i := range segments {
		if segments[i].frames < 1 {
			return master.fault(segments[i].line, CodeWFDBSegment, "the segment is empty", segmentHint)
		}
		total += segments[i].frames
		if err := x.takes(total * perFrame); err != nil {
			return err
		}
	}
	if master.frames >= 0 && master.frames != total {
		return master.fault(1, CodeWFDBSegment, fmt.Sprintf("the segments have %d frames in all, the record %d", total, master.frames), segmentHint)
	}
	samples := room(&x.samples, total*perFrame)
	fill(samples)
	for i, from := 0, 0; i < len(segments); i++ {
		s := &segments[i]
		out := samples[from*perFrame : (from+s.frames)*perFrame]
		from += s.frames
		if s.name == gapSegment {
			continue
		}
		h := layout
		if i != at {
			if h, err = x.segmentHeader(master, s); err != nil {
				return err
			}
		}
		if err := x.readSegment(master, s, h, &layout.signals[k], k, variable, out); err != nil {
			return err
		}
	}
	x.rec.Samples = samples
	if master.frameHz == 0 {
		master.frameHz = layout.frameHz
	}
	return x.describe(master, &layout.signals[k])
}

// layout opens the header that says which signals the record has. It gives the
// header, which segment's it is, and the place of the channel in it.
func (x *reading) layout(master *wfdbHeader) (h *wfdbHeader, i, k int, err error) {
	i = slices.IndexFunc(master.segments, func(s wfdbSegment) bool { return s.name != gapSegment })
	if i < 0 {
		return nil, 0, 0, x.fault(CodeNoSamples, "every segment is a gap", "leave the recording out")
	}
	if h, err = x.segmentHeader(master, &master.segments[i]); err != nil {
		return nil, 0, 0, err
	}
	k, err = x.pickSignal(h)
	return h, i, k, err
}

// segmentHeader opens the header of a segment, which must be a plain record
// beside the master and as fast.
func (x *reading) segmentHeader(master *wfdbHeader, s *wfdbSegment) (*wfdbHeader, error) {
	if strings.ContainsAny(s.name, `/\`) || s.name == ".." {
		i := master.fault(s.line, CodeWFDBSignalPath, "the segment must lie beside its header", "give its bare name")
		i.Name, i.Value = "segment", shorten([]byte(s.name))
		return nil, i
	}
	h, err := x.openHeader(path.Join(path.Dir(master.file), s.name+headerEnding))
	switch {
	case err != nil:
		return nil, err
	case len(h.segments) > 0:
		return nil, master.fault(s.line, CodeWFDBSegment, "a segment cannot have segments of its own", segmentHint)
	case h.frameHz != 0 && master.frameHz != 0 && h.frameHz != master.frameHz:
		return nil, master.fault(s.line, CodeWFDBSegment, "the segment has another sampling rate than the record", segmentHint)
	case h.frames >= 0 && h.frames != s.frames:
		return nil, master.fault(s.line, CodeWFDBSegment, fmt.Sprintf("the segment's own header says %d frames, the record %d", h.frames, s.frames), segmentHint)
	}
	h.frames = s.frames
	return h, nil
}

// readSegment writes the samples of one segment with header h to out, which
// holds missing ones: those of the signal like want, at place k where the layout
// is fixed.
func (x *reading) readSegment(master *wfdbHeader, s *wfdbSegment, h *wfdbHeader, want *wfdbSignal, k int, variable bool, out []float64) error {
	if variable {
		if k = slices.Index(h.names(), want.name); k < 0 {
			return nil
		}
	}
	if k >= len(h.signals) || h.signals[k].name != want.name || h.signals[k].perFrame != want.perFrame {
		return master.fault(s.line, CodeWFDBSegment, "the segment has another signal in this place", segmentHint)
	}
	if h.signals[k].unit != want.unit || h.signals[k].calibrated != want.calibrated {
		return h.fault(h.signals[k].line, CodeWFDBSegment, "the signal has another unit than in the other segments", segmentHint)
	}
	stream, err := x.openSignal(h, k)
	if err != nil {
		return err
	}
	return x.decode(h, &stream, out)
}

// fill makes every sample missing.
func fill(samples []float64) {
	for i := range samples {
		samples[i] = math.NaN()
	}
}
