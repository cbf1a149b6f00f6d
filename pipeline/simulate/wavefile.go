package simulate

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"

	"github.com/klauspost/compress/gzip"
)

// layout is how a device writes its files.
type layout int

const (
	layoutTimed    layout = iota // csv with time_s and pressure
	layoutPressure               // csv with pressure alone
	layoutZipped                 // the same, compressed
	layoutWFDB                   // WFDB: a header and samples in format 16
)

func (l layout) format() string {
	if l == layoutWFDB {
		return "wfdb"
	}
	return "csv"
}

// fileName is the path of a recording relative to the study folder.
func (l layout) fileName(recordingID string) string {
	switch l {
	case layoutZipped:
		return "waves/" + recordingID + ".csv.gz"
	case layoutWFDB:
		return "waves/" + recordingID + ".hea"
	default:
		return "waves/" + recordingID + ".csv"
	}
}

// countsPerUnit is the resolution of the samples in a WFDB file.
const countsPerUnit = 100

// waveWriter writes the files of recordings; it keeps its buffers and is not
// safe for use by several goroutines.
type waveWriter struct {
	folder string
	text   []byte
}

// write puts a recording into the study folder, with the faults that act on
// files: a file that is not there, that ends early, or that holds something else.
func (w *waveWriter) write(id string, l layout, samples []float64, hz float64, fault string) error {
	if fault == faultMissing {
		return nil
	}
	if l == layoutWFDB {
		return w.writeWFDB(id, samples, hz, fault)
	}
	if fault == faultTruncated && l != layoutZipped {
		samples = samples[:min(len(samples), int(2.5*hz))]
	}
	content := w.csv(samples, hz, l == layoutTimed)
	if fault == faultGarbage {
		content = []byte("<html><body>502 upstream did not answer</body></html>\n")
	}
	if l == layoutZipped {
		var packed bytes.Buffer
		z, err := gzip.NewWriterLevel(&packed, 3)
		if err != nil {
			return err
		}
		if _, err := z.Write(content); err != nil {
			return err
		}
		if err := z.Close(); err != nil {
			return err
		}
		content = packed.Bytes()
		if fault == faultTruncated {
			content = content[:len(content)/3]
		}
	}
	return os.WriteFile(filepath.Join(w.folder, filepath.FromSlash(l.fileName(id))), content, 0o644)
}

// csv returns the text of a recording; it is overwritten by the next call.
func (w *waveWriter) csv(samples []float64, hz float64, timed bool) []byte {
	b := w.text[:0]
	if timed {
		b = append(b, "time_s,"...)
	}
	b = append(b, "pressure\n"...)
	for i, v := range samples {
		if timed {
			b = strconv.AppendFloat(b, float64(i)/hz, 'f', 6, 64)
			b = append(b, ',')
		}
		b = strconv.AppendFloat(b, v, 'f', 3, 64)
		b = append(b, '\n')
	}
	w.text = b
	return b
}

// writeWFDB writes ID.hea and ID.dat: one signal, 16-bit two's complement, low
// byte first (format 16 of the WFDB signal specification).
func (w *waveWriter) writeWFDB(id string, samples []float64, hz float64, fault string) error {
	data := w.text[:0]
	var checksum, first int16
	for i, v := range samples {
		count := int16(max(min(math.Round(v*countsPerUnit), math.MaxInt16), -math.MaxInt16))
		if i == 0 {
			first = count
		}
		checksum += count
		data = append(data, byte(count), byte(uint16(count)>>8))
	}
	w.text = data
	header := fmt.Sprintf("%s 1 %g %d\n%s.dat 16 %d(0)/au 16 0 %d %d 0 pressure\n",
		id, hz, len(samples), id, countsPerUnit, first, checksum)
	if fault == faultGarbage {
		header = "this is not a header\n"
	}
	if fault == faultTruncated {
		data = data[:len(data)/6]
	}
	base := filepath.Join(w.folder, "waves", id)
	if err := os.WriteFile(base+".dat", data, 0o644); err != nil {
		return err
	}
	return os.WriteFile(base+".hea", []byte(header), 0o644)
}
