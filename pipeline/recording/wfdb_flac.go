package recording

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"
)

// flacBits gives the bits of a sample in the formats that hold the samples of a
// file as one FLAC stream (RFC 9639), a channel a signal; 0: not one of them.
func flacBits(format int) uint8 {
	return map[int]uint8{508: 8, 516: 16, 524: 24}[format]
}

// unpackFLAC gives the samples of signal k in three bytes each, as at24 reads
// them; those of other signals of the file, which are from to to-1, are left
// alone. It stops where the header needs no more, and at the declared limit. The
// library's own words are not shown, since they may quote the file. spare counts
// what the stream holds beyond.
func (x *reading) unpackFLAC(h *wfdbHeader, data []byte, from, k, to int) (packed []byte, spare int, err error) {
	s := &h.signals[k]
	damaged := func(message string) ([]byte, int, error) {
		i := h.fault(s.line, CodeFLACDamaged, message, "get the record again from where it came")
		i.Name, i.Value = "file", shorten([]byte(s.file))
		return nil, 0, i
	}
	for i := from; i < to; i++ {
		if h.signals[i].perFrame != s.perFrame {
			return nil, 0, h.fault(h.signals[i].line, CodeWFDBHeader, "signals of one FLAC file must have as many samples in a frame", mendHeader)
		}
	}
	r := bufio.NewReader(bytes.NewReader(data))
	info, err := flacInfo(r)
	switch {
	case err != nil:
		return damaged("the signal file is no FLAC stream, as its format says")
	case int(info.NChannels) != to-from || info.BitsPerSample != flacBits(s.storage):
		return nil, 0, h.fault(s.line, CodeWFDBHeader, fmt.Sprintf("the FLAC stream has %s of %d bits, the header %d of %d",
			plural(int(info.NChannels), "channel"), info.BitsPerSample, to-from, flacBits(s.storage)), mendHeader)
	}
	most, known := int(info.NSamples), info.NSamples > 0
	if h.frames >= 0 {
		most, known = h.frames*s.perFrame, true
		spare = max(0, int(info.NSamples)-most)
	}
	if err := x.takes(most); err != nil {
		return nil, 0, err
	}
	if !known { // until the stream ends
		most = x.options.Samples + 1
	}
	packed = x.packed[:0]
	for number := 1; len(packed) < 3*most; number++ {
		samples, err := flacFrame(r, info, k-from)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return damaged(fmt.Sprintf("block %d of the FLAC stream is damaged", number))
		}
		for _, v := range samples[:min(len(samples), most-len(packed)/3)] {
			packed = append(packed, byte(v), byte(v>>8), byte(v>>16))
		}
		x.packed = packed
	}
	return packed, spare, x.takes(len(packed) / 3)
}

// flacInfo reads what stands before the first block of a stream.
func flacInfo(r *bufio.Reader) (*meta.StreamInfo, error) {
	var mark [4]byte
	if _, err := io.ReadFull(r, mark[:]); err != nil || string(mark[:]) != "fLaC" {
		return nil, errors.New("no mark")
	}
	block, err := meta.Parse(r)
	if err != nil {
		return nil, err
	}
	info, ok := block.Body.(*meta.StreamInfo)
	if !ok {
		return nil, errors.New("no stream information")
	}
	for !block.IsLast { // pictures, words and the like
		if block, err = meta.New(r); err != nil && !errors.Is(err, meta.ErrReservedType) {
			return nil, err
		}
		if err = block.Skip(); err != nil {
			return nil, err
		}
	}
	return info, nil
}

// flacFrame reads the next block and gives the samples of one channel; io.EOF
// where there is none.
func flacFrame(r io.Reader, info *meta.StreamInfo, channel int) ([]int32, error) {
	f, err := frame.New(r)
	if err != nil {
		return nil, err
	}
	if f.BitsPerSample == 0 { // as the stream says
		f.BitsPerSample = info.BitsPerSample
	}
	if f.BitsPerSample != info.BitsPerSample || f.Channels.Count() != int(info.NChannels) {
		return nil, errors.New("another form than the stream's")
	}
	if err := f.Parse(); err != nil {
		// The end of the file within a block is damage, not an end.
		return nil, errors.New("damaged")
	}
	samples := f.Subframes[channel].Samples
	low := int32(-1) << (info.BitsPerSample - 1)
	if slices.ContainsFunc(samples, func(v int32) bool { return v < low || v > -1-low }) {
		return nil, errors.New("a sample beyond its bits")
	}
	return samples, nil
}
