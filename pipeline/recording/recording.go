// Package recording turns a file into samples: csv, WFDB and whatever else
// Supported lists. It holds no policy: it says what stands in the file, or why
// it cannot be read. Every error it gives is a *schema.Issue of size recording.
//
// A Reader trusts nothing that a file says: counts and lengths in headers are
// checked against the bytes that are there and against declared limits before
// memory is taken. Names, dates and free text in headers are never looked at,
// so they cannot reach an Issue or an output.
package recording

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"

	"github.com/klauspost/compress/gzip"

	"tonocohort/schema"
)

// Request names one channel of one file, as the recordings table has it.
type Request struct {
	File        string  // relative to the study folder
	Format      string  // one of Supported
	Channel     string  // name, or position from 1; "" where the file has only one candidate
	SamplingHz  float64 // 0: not declared
	Unit        string  // mmHg, au; "": not declared
	RecordingID string  // tells its rows in a Parquet file of several recordings
}

// Recording is what the file holds. Samples belong to the Reader and stay valid
// until its next Read.
type Recording struct {
	Samples    []float64 // evenly spaced; NaN is a gap
	SamplingHz float64
	Unit       string         // mmHg, or au for a wave without scale
	Inputs     []Input        // every file that was read, in the order of reading
	Notes      []schema.Issue // what was assumed or looks odd, of size note
}

// Input is the digest of a file that was read, taken from the very bytes that
// were parsed.
type Input struct {
	Path   string
	Bytes  int64
	SHA256 string // hex
}

// Source gives the files of a study folder and nothing outside it. An error
// that has a method Issue(schema.Size) schema.Issue keeps its code.
type Source interface {
	// ReadFile returns the bytes of a file and the hex SHA-256 of these very
	// bytes; it may use buf's capacity. More than limit bytes are an error.
	ReadFile(name string, buf []byte, limit int64) (data []byte, sha256hex string, err error)
	// Names lists the names in a folder; "." is the study folder.
	Names(dir string) ([]string, error)
}

// Options bound what a Reader takes; a zero field has the default beside it.
type Options struct {
	FileBytes  int64   // largest file: 1 GiB
	TextBytes  int64   // largest text after decompression: 1 GiB
	HeaderSize int64   // largest header or side file: 4 MiB
	Samples    int     // most samples of a recording, gaps included: 50 million
	LowestHz   float64 // plausible sampling rates: the limits of sampling_hz in the contract
	HighestHz  float64
	Delimiter  byte // of csv files: ','
	Decimal    byte // decimal sign of csv files: '.'
	Text       Text // what else is accepted in csv files

	Parquet Columnar // nil: the format is not supported
}

// Text says what a csv file may be like beyond the plain form: as the study
// declares it, for all of them. The zero value accepts nothing more.
type Text struct {
	UTF16     bool    // also UTF-16 with its byte order mark
	LoneCR    bool    // also a carriage return alone ends a line
	JoinLines bool    // a line break within quotation marks is a blank
	Thousands string  // sign between groups of three digits, as schema.Groupings names it; "": none
	Time      string  // the column of times, by name or position from 1; "": time_s
	TimeUnit  float64 // seconds in its unit; 0: 1

	HeaderLine int // the line of the header, from 1; 0: 1
	FirstLine  int // the line of the first sample; 0: the one behind the header
}

// Reader reads recordings one after the other and reuses its memory; one per
// worker.
type Reader struct {
	source  Source
	options Options
	formats []format
	raw     []byte    // a file as it is
	text    []byte    // a text after decompression
	packed  []byte    // samples of a FLAC stream
	samples []float64 // of the last recording
	times   []float64
	scratch []float64
	gzip    *gzip.Reader

	listings map[string][]string // side files by folder
	cache    columnCache
}

// NewReader returns a Reader of the files of source.
func NewReader(source Source, o Options) *Reader {
	inputs := schema.RecordingsInput()
	limits := inputs.Columns[inputs.Index("sampling_hz")]
	o.FileBytes = orElse(o.FileBytes, 1<<30)
	o.TextBytes = orElse(o.TextBytes, 1<<30)
	o.HeaderSize = orElse(o.HeaderSize, 4<<20)
	o.Samples = orElse(o.Samples, 50_000_000)
	o.LowestHz = orElse(o.LowestHz, *limits.Low)
	o.HighestHz = orElse(o.HighestHz, *limits.High)
	o.Delimiter = orElse(o.Delimiter, ',')
	o.Decimal = orElse(o.Decimal, '.')
	r := &Reader{source: source, options: o}
	r.formats = []format{
		{"bids", (*reading).readBIDS, (*reading).bidsContents},
		{"csv", (*reading).readCSV, (*reading).csvContents},
		{"edf", (*reading).readEDF, (*reading).edfContents},
	}
	if o.Parquet != nil {
		r.formats = append(r.formats, format{"parquet", (*reading).readParquet, (*reading).parquetContents})
	}
	r.formats = append(r.formats, format{"wfdb", (*reading).readWFDB, (*reading).wfdbContents})
	return r
}

func orElse[T comparable](v, otherwise T) T {
	var zero T
	if v == zero {
		return otherwise
	}
	return v
}

// reading is one Read in progress.
type reading struct {
	*Reader
	Request
	rec   Recording
	bytes int64 // read so far, of all files
}

// format is one format by its name in the recordings table.
type format struct {
	name     string
	read     func(*reading) error
	contents func(*reading, *Contents) error
}

// Supported lists the formats that this Reader reads, sorted.
func (r *Reader) Supported() []string {
	names := make([]string, len(r.formats))
	for i, f := range r.formats {
		names[i] = f.name
	}
	return names
}

// Read reads one channel of one file. The error, where there is one, is a
// *schema.Issue of size recording with the place in the file.
func (r *Reader) Read(q Request) (rec Recording, err error) {
	defer func() {
		if err != nil {
			rec = Recording{}
		}
	}()
	defer r.recovered(q.File, &err)
	k, err := r.format(q.File, q.Format)
	if err != nil {
		return Recording{}, err
	}
	x := &reading{Reader: r, Request: q}
	if err := r.formats[k].read(x); err != nil {
		return Recording{}, err
	}
	if err := x.check(); err != nil {
		return Recording{}, err
	}
	return x.rec, nil
}

// recovered makes a panic of a reader an Issue. Files come from outside:
// whatever a reader stumbles over must cost one recording and not the run, so a
// panic ends here, at the one door. Readers hold nothing but buffers, which the
// next Read overwrites. Only what the runtime says is shown, an index for one:
// other words may quote the file.
func (r *Reader) recovered(file string, err *error) {
	if p := recover(); p != nil {
		message := "the reader failed"
		if e, ok := p.(runtime.Error); ok {
			message += ": " + e.Error()
		}
		*err = fault(file, CodeReaderPanic, message, "please report it with the file")
	}
}

// format finds a format by its name.
func (r *Reader) format(file, name string) (int, error) {
	k := slices.IndexFunc(r.formats, func(f format) bool { return f.name == name })
	if k < 0 {
		i := fault(file, CodeFormatNotSupported, "the format is not supported", "supported are "+strings.Join(r.Supported(), ", "))
		i.Name, i.Value = "format", name
		return k, i
	}
	return k, nil
}

// check holds for every format.
func (x *reading) check() error {
	if len(x.rec.Samples) == 0 {
		return x.fault(CodeNoSamples, "holds no samples", askWhole)
	}
	if hz := x.rec.SamplingHz; !(hz >= x.options.LowestHz && hz <= x.options.HighestHz) {
		i := fault(x.File, CodeSamplingImplausible, fmt.Sprintf("a sampling rate of %.6g Hz is outside %g to %g", hz, x.options.LowestHz, x.options.HighestHz), "correct sampling_hz in the table, or the rate that the file gives")
		if k := hz * 1000; k >= x.options.LowestHz && k <= x.options.HighestHz {
			i.Hint = "is the time in milliseconds? waveforms: {time_unit: ms} reads it"
		}
		return i
	}
	if !slices.ContainsFunc(x.rec.Samples, func(v float64) bool { return !math.IsNaN(v) }) {
		return x.fault(CodeNoSamples, "every sample is missing", "name another channel, or leave the recording out")
	}
	return nil
}

// open reads a file through the source into buf and notes its digest. All files
// of a recording together keep to the limit of one: a header of few bytes could
// name a large file many times.
func (x *reading) open(name string, buf *[]byte, limit int64) ([]byte, error) {
	data, sum, err := x.source.ReadFile(name, *buf, min(limit, x.options.FileBytes-x.bytes))
	if err != nil {
		return nil, sourceFault(name, err)
	}
	*buf = data
	x.bytes += int64(len(data))
	x.rec.Inputs = append(x.rec.Inputs, Input{Path: name, Bytes: int64(len(data)), SHA256: sum})
	return data, nil
}

// room gives a slice of n float64 in the memory of buf.
func room(buf *[]float64, n int) []float64 {
	if cap(*buf) < n {
		*buf = make([]float64, n+n/8)
	}
	*buf = (*buf)[:cap(*buf)]
	return (*buf)[:n]
}

// takes refuses more samples than the declared limit, before memory is taken.
func (x *reading) takes(n int) error {
	if n > x.options.Samples || n < 0 {
		return x.fault(CodeTooManySamples, fmt.Sprintf("has more samples than the limit of %d", x.options.Samples), "cut the recording")
	}
	return nil
}
