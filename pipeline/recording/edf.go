package recording

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
)

// readEDF reads one signal of an EDF, EDF+ or BDF file. Data records of a
// discontinuous file are put at the times that its annotations give, to the
// nearest sample; between them stand gaps.
func (x *reading) readEDF() error {
	data, err := x.open(x.File, &x.raw, x.options.FileBytes)
	if err != nil {
		return err
	}
	h, err := x.parseEDFHeader(data)
	if err != nil {
		return err
	}
	k, err := x.pickEDF(h)
	if err != nil {
		return err
	}
	s := &h.signals[k]
	switch {
	case s.samples == 0:
		return x.channelFault(CodeNoSamples, "has no samples in a data record")
	case h.duration == 0:
		return x.edfFault("duration of a data record", "is 0, so the samples have no rate")
	}
	scale, err := x.scale(h, k)
	if err != nil {
		return err
	}
	body := data[h.size:]
	if err := x.countRecords(h, len(body)); err != nil {
		return err
	}
	if err := x.takes(h.records * s.samples); err != nil {
		return err
	}
	if err := x.setRate(float64(s.samples) / h.duration); err != nil {
		return err
	}
	places, total := []int(nil), h.records*s.samples
	if h.discontinuous {
		if places, total, err = x.places(h, body, float64(s.samples)/h.duration, s.samples); err != nil {
			return err
		}
	}
	x.rec.Samples = room(&x.samples, total)
	h.decode(body, s, scale, places, x.rec.Samples)
	return x.setUnit(s.unit)
}

// pickEDF finds the signal that the channel names; without a channel there must
// be one signal alone beside annotations.
func (x *reading) pickEDF(h *edfHeader) (int, error) {
	only, signals := -1, 0
	names := make([]string, len(h.signals))
	for i := range h.signals {
		names[i] = h.signals[i].label
		if !h.signals[i].annotations {
			only = i
			signals++
		}
	}
	if x.Channel == "" {
		switch signals {
		case 0:
			return 0, x.fault(CodeNoSamples, "holds annotations alone", "name the file that holds the signals")
		case 1:
			return only, nil
		}
		return 0, x.fault(CodeChannelRequired, "has "+plural(signals, "signal"), "name one in channel, by label or position from 1")
	}
	k, err := x.pick(names)
	if err == nil && h.signals[k].annotations {
		err = x.channelFault(CodeChannelNotSignal, "holds annotations")
	}
	return k, err
}

// countRecords holds the number of data records against the bytes that follow
// the header.
func (x *reading) countRecords(h *edfHeader, size int) error {
	whole, rest := size/h.recordSize, size%h.recordSize
	switch {
	case h.records < 0:
		h.records = whole
		x.note(CodeRecordsCounted, "the recorder did not say how many data records there are; they were counted")
		if rest > 0 {
			x.note(CodeTrailingBytes, "the last data record is not complete and is left out")
		}
	case h.records > whole:
		return x.fault(CodeTruncated, fmt.Sprintf("the header says %s, the file holds %d", plural(h.records, "data record"), whole), askWhole)
	case h.records < whole || rest > 0:
		if k := slices.IndexFunc(h.signals, func(s edfSignal) bool { return s.samples == 0 }); k >= 0 {
			// Then the length of a data record is wrong, and every sample with it.
			return x.edfFault("samples in a data record", fmt.Sprintf("of signal %d is 0, and the file does not have the length that follows", k+1))
		}
		x.note(CodeTrailingBytes, "the file is longer than the header says; the rest is not read")
	}
	if h.records == 0 {
		return x.fault(CodeNoSamples, "holds no data records", askWhole)
	}
	return nil
}

// placeTolerance is how far, in steps, a data record may begin from a sample
// before it is told (own choice: times of six decimals are nearer at any rate
// that is read).
const placeTolerance = 0.02

// places gives the position of each data record in the recording, and the
// length of the recording, from the time that opens each record's annotations.
func (x *reading) places(h *edfHeader, body []byte, hz float64, samples int) ([]int, int, error) {
	var keeper *edfSignal
	for i := range h.signals {
		if h.signals[i].annotations {
			keeper = &h.signals[i]
			break
		}
	}
	if keeper == nil {
		return nil, 0, x.fault(CodeEDFTimes, "is discontinuous, but has no annotations to say when", exportAgain)
	}
	places := make([]int, h.records)
	first, end, gaps, off := 0.0, 0, 0, 0.0
	for r := range places {
		text := body[r*h.recordSize+keeper.offset:][:keeper.samples*h.width]
		onset, ok := recordOnset(text)
		if !ok {
			return nil, 0, x.fault(CodeEDFTimes, fmt.Sprintf("data record %d does not begin its annotations with its time", r+1), exportAgain)
		}
		if r == 0 {
			first = onset
		}
		place := math.Round((onset - first) * hz)
		off = max(off, math.Abs((onset-first)*hz-place))
		switch {
		case place < float64(end):
			return nil, 0, x.fault(CodeTimeBackwards, fmt.Sprintf("data record %d begins before the one before it has ended", r+1), exportAgain)
		case place > float64(x.options.Samples):
			return nil, 0, x.takes(math.MaxInt)
		case place > float64(end):
			gaps++
		}
		places[r] = int(place)
		end = places[r] + samples
	}
	if err := x.takes(end); err != nil {
		return nil, 0, err
	}
	if missing := end - h.records*samples; missing > 0 {
		x.note(CodeTimeGaps, fmt.Sprintf("the time has %s: %s missing", plural(gaps, "gap"), plural(missing, "sample")))
	}
	if off > placeTolerance {
		x.note(CodeTimeRounded, fmt.Sprintf("data records begin between samples: they are moved to the nearest, by at most %.2f of a step", off))
	}
	return places, end, nil
}

// recordOnset reads the time that opens the annotations of a data record: a
// sign, seconds, and two bytes of 20.
func recordOnset(text []byte) (float64, bool) {
	onset, _, ok := bytes.Cut(text, []byte{20, 20})
	if !ok || len(onset) == 0 || onset[0] != '+' && onset[0] != '-' {
		return 0, false
	}
	return parseNumber(onset, '.')
}

// decode writes the physical values of a signal to out; places is nil where the
// data records follow each other.
func (h *edfHeader) decode(body []byte, s *edfSignal, c edfScale, places []int, out []float64) {
	end := 0
	for r := range h.records {
		from := body[r*h.recordSize+s.offset:][:s.samples*h.width]
		place := r * s.samples
		if places != nil {
			place = places[r]
		}
		fill(out[end:place])
		end = place + s.samples
		to := out[place:end]
		for i := range to {
			var digital float64
			if h.width == 2 {
				digital = float64(int16(binary.LittleEndian.Uint16(from[2*i:])))
			} else {
				digital = float64(at24(from, i))
			}
			to[i] = float64((digital-c.digitalMin)/c.digitalRange*c.physicalRange) + c.physicalMin
		}
	}
}
