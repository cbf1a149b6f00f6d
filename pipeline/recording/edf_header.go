package recording

import (
	"bytes"
	"math"
	"strconv"
	"strings"
)

// EDF, EDF+ and BDF: https://www.edfplus.info/specs/edf.html, edfplus.html and
// https://www.biosemi.com/faq/file_format.htm. The header has fields of ASCII
// text at fixed places. Those of patient, recording, date, time, transducer
// and filter are never looked at.

// edfHeader is what the reader needs of the header.
type edfHeader struct {
	file          string
	width         int  // bytes a sample: 2, in BDF 3
	discontinuous bool // EDF+D, BDF+D
	size          int  // bytes of the header
	records       int  // data records; -1 where the recorder did not say
	duration      float64
	recordSize    int // bytes of a data record
	signals       []edfSignal
}

// edfSignal is one signal; scale fields stay text until they are needed, so
// that a fault in one signal does not spoil another.
type edfSignal struct {
	label       string
	unit        string
	physical    [2]string // minimum, maximum
	digital     [2]string
	samples     int // in a data record
	offset      int // bytes before its samples in a data record
	annotations bool
}

const (
	edfFixed      = 256 // bytes of the fixed part, and of each signal's part
	mostPerRecord = 1 << 26
	mostExtreme   = 1e9 // of minima and maxima (own choice)
)

// field gives a text field without its padding.
func field(data []byte, at, length int) string {
	return string(bytes.Trim(data[at:at+length], " \x00"))
}

// parseEDFHeader reads the header and holds its counts against the length of
// the file.
func (x *reading) parseEDFHeader(data []byte) (*edfHeader, error) {
	h := &edfHeader{file: x.File}
	switch {
	case len(data) == 0:
		return nil, x.fault(CodeNoSamples, "is empty", askWhole)
	case bytes.HasPrefix(data, []byte("\xffBIOSEMI")):
		h.width = 3
	case len(data) >= 8 && field(data, 0, 8) == "0":
		h.width = 2
	case bytes.HasPrefix(data, []byte("\x1f\x8b")) || bytes.HasPrefix(data, []byte("PK")):
		return nil, x.fault(CodeEDFVersion, "is packed: EDF and BDF are read as they are", "unpack it")
	default:
		return nil, x.fault(CodeEDFVersion, "is no EDF or BDF file: it does not begin with their version", "correct the format, or get the file again from where it came")
	}
	if len(data) < edfFixed {
		return nil, x.fault(CodeTruncated, "ends within its header", askWhole)
	}
	signals, ok := boundedInt(field(data, 252, 4), 1, mostSignals)
	if !ok {
		return nil, x.edfFault("number of signals", "is no number from 1 to "+strconv.Itoa(mostSignals))
	}
	h.size = edfFixed * (signals + 1)
	if size, ok := boundedInt(field(data, 184, 8), 0, math.MaxInt32); !ok || size != h.size {
		return nil, x.edfFault("number of header bytes", "does not fit the number of signals")
	}
	if len(data) < h.size {
		return nil, x.fault(CodeTruncated, "ends within its header", askWhole)
	}
	if h.records, ok = boundedInt(field(data, 236, 8), -1, math.MaxInt32); !ok {
		return nil, x.edfFault("number of data records", "is no whole number from -1 on")
	}
	if h.duration, ok = parseNumber([]byte(field(data, 244, 8)), '.'); !ok || h.duration < 0 {
		return nil, x.edfFault("duration of a data record", "is no number of seconds"+commaWords(field(data, 244, 8)))
	}
	h.discontinuous = string(data[193:197]) == "DF+D"
	return h, x.edfSignals(h, data[edfFixed:h.size], signals)
}

// edfSignals reads the parts of the signals: every field for all signals first,
// then the next field.
func (x *reading) edfSignals(h *edfHeader, data []byte, count int) error {
	h.signals = make([]edfSignal, count)
	for i := range h.signals {
		s := &h.signals[i]
		at := func(before, length int) string { return field(data, before*count+i*length, length) }
		s.label, s.unit = at(0, 16), at(96, 8)
		s.physical = [2]string{at(104, 8), at(112, 8)}
		s.digital = [2]string{at(120, 8), at(128, 8)}
		s.annotations = s.label == "EDF Annotations" || s.label == "BDF Annotations"
		var ok bool
		if s.samples, ok = boundedInt(at(216, 8), 0, mostPerRecord); !ok {
			return x.edfFault("samples in a data record", "of signal "+strconv.Itoa(i+1)+" is no whole number from 0 to "+strconv.Itoa(mostPerRecord))
		}
		s.offset = h.recordSize
		h.recordSize += s.samples * h.width
	}
	if h.recordSize == 0 {
		return x.fault(CodeNoSamples, "its data records are empty", "correct the samples in a data record, or export the recording again")
	}
	return nil
}

// commaWords says what is wrong with a number that has a decimal comma.
func commaWords(text string) string {
	if decimalForm([]byte(text), ',') && strings.Count(text, ",") == 1 {
		return ": it has a decimal comma, where the format has a point"
	}
	return ""
}

// edfFault is an Issue about a field of the header. The field's text is not
// shown: where fields are shifted, it may be a part of the patient's.
func (x *reading) edfFault(name, message string) error {
	i := fault(x.File, CodeEDFHeader, message, "correct this field of the header, or export the recording again")
	i.Name = name
	return i
}

// edfScale turns digital into physical values.
type edfScale struct {
	digitalMin, digitalRange, physicalMin, physicalRange float64
}

// scale reads the four fields of the scale of signal k.
func (x *reading) scale(h *edfHeader, k int) (edfScale, error) {
	s := &h.signals[k]
	bad := func(message string) (edfScale, error) {
		i := fault(x.File, CodeEDFScale, message, "correct minimum and maximum of the signal in the header, or export the recording again")
		i.Name = "signal " + strconv.Itoa(k+1)
		return edfScale{}, i
	}
	var v [4]float64
	for i, text := range []string{s.digital[0], s.digital[1], s.physical[0], s.physical[1]} {
		var ok bool
		if v[i], ok = parseNumber([]byte(text), '.'); !ok || math.Abs(v[i]) > mostExtreme {
			return bad([]string{"digital minimum", "digital maximum", "physical minimum", "physical maximum"}[i] + " is no plausible number" + commaWords(text))
		}
	}
	switch {
	case !(v[1] > v[0]):
		return bad("the digital maximum is not above the digital minimum")
	case v[2] == v[3]:
		return bad("physical minimum and maximum are equal")
	}
	return edfScale{v[0], v[1] - v[0], v[2], v[3] - v[2]}, nil
}
