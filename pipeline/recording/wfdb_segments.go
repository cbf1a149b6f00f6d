package recording

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strings"
)

// gapSegment stands for a stretch without any signal.
const gapSegment = "~"

// readSegments joins the segments of a record. In a fixed layout every segment
// has the same signals in the same order; in a variable layout, which begins
// with a segment of length 0, the first header lists the signals by name and
// each segment has some of them. What a segment lacks is a gap.
func (x *reading) readSegments(master *wfdbHeader) error {
	layout, k, err := x.layout(master)
	if err != nil {
		return err
	}
	segments := master.segments
	variable := segments[0].frames == 0
	if variable {
		segments = segments[1:]
	}
	perFrame, total := layout.signals[k].perFrame, 0
	for i := range segments {
		if segments[i].frames < 1 {
			return master.fault(segments[i].line, CodeWFDBSegment, "the segment is empty", "")
		}
		total += segments[i].frames
		if err := x.takes(total * perFrame); err != nil {
			return err
		}
	}
	if master.frames >= 0 && master.frames != total {
		return master.fault(1, CodeWFDBSegment, fmt.Sprintf("the segments have %d frames in all, the record %d", total, master.frames), "")
	}
	samples := room(&x.samples, total*perFrame)
	at := 0
	for i := range segments {
		out := samples[at*perFrame : (at+segments[i].frames)*perFrame]
		if err := x.readSegment(master, &segments[i], layout, k, variable, out); err != nil {
			return err
		}
		at += segments[i].frames
	}
	x.rec.Samples = samples
	if master.frameHz == 0 {
		master.frameHz = layout.frameHz
	}
	return x.describe(master, &layout.signals[k])
}

// layout opens the header that says which signals the record has, and finds
// the channel in it.
func (x *reading) layout(master *wfdbHeader) (*wfdbHeader, int, error) {
	i := slices.IndexFunc(master.segments, func(s wfdbSegment) bool { return s.name != gapSegment })
	if i < 0 {
		return nil, 0, x.fault(CodeNoSamples, "every segment is a gap", "")
	}
	layout, err := x.segmentHeader(master, &master.segments[i])
	if err != nil {
		return nil, 0, err
	}
	k, err := x.pickSignal(layout)
	return layout, k, err
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
		return nil, master.fault(s.line, CodeWFDBSegment, "a segment cannot have segments of its own", "")
	case h.frameHz != 0 && master.frameHz != 0 && h.frameHz != master.frameHz:
		return nil, master.fault(s.line, CodeWFDBSegment, "the segment has another sampling rate than the record", "")
	case h.frames >= 0 && h.frames != s.frames:
		return nil, master.fault(s.line, CodeWFDBSegment, fmt.Sprintf("the segment's own header says %d frames, the record %d", h.frames, s.frames), "")
	}
	h.frames = s.frames
	return h, nil
}

// readSegment writes the samples of one segment to out.
func (x *reading) readSegment(master *wfdbHeader, s *wfdbSegment, layout *wfdbHeader, k int, variable bool, out []float64) error {
	for i := range out {
		out[i] = math.NaN()
	}
	if s.name == gapSegment {
		return nil
	}
	h, err := x.segmentHeader(master, s)
	if err != nil {
		return err
	}
	want := &layout.signals[k]
	if variable {
		if k = slices.Index(h.names(), want.name); k < 0 {
			return nil
		}
	}
	if k >= len(h.signals) || h.signals[k].name != want.name || h.signals[k].perFrame != want.perFrame {
		return master.fault(s.line, CodeWFDBSegment, "the segment has another signal in this place", "")
	}
	if h.signals[k].unit != want.unit || h.signals[k].calibrated != want.calibrated {
		return h.fault(h.signals[k].line, CodeWFDBSegment, "the signal has another unit than in the other segments", "")
	}
	stream, err := x.openSignal(h, k)
	if err != nil {
		return err
	}
	return x.decode(h, &stream, out)
}
