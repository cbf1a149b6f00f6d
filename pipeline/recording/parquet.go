package recording

import (
	"math"

	"tonocohort/schema"
)

// readParquet hands the file to the caller's function; its time column is
// judged like that of a csv file.
func (x *reading) readParquet() error {
	data, err := x.open(x.File, &x.raw, x.options.FileBytes)
	if err != nil {
		return err
	}
	times, values, err := x.options.Parquet(data, x.Channel)
	if err != nil {
		return sourceFault(x.File, err)
	}
	if err := x.takes(len(values)); err != nil {
		return err
	}
	for i, v := range values {
		if math.IsInf(v, 0) {
			issue := fault(x.File, CodeNotNumber, "is infinite", "leave it null where a sample is missing")
			issue.Row = i + 1
			return issue
		}
	}
	copy(room(&x.samples, len(values)), values)
	x.rec.Samples = x.samples[:len(values)]
	x.rec.SamplingHz = x.SamplingHz
	switch {
	case times != nil && len(times) != len(values):
		return x.fault(CodeRowRagged, "time and values differ in number", "")
	case times != nil:
		place := func(i int) *schema.Issue { return &schema.Issue{Row: i + 1} }
		if err := x.setClock(times, place); err != nil {
			return err
		}
	case x.SamplingHz == 0:
		return x.fault(CodeSamplingMissing, "has no time, and no sampling rate is declared", "give sampling_hz in the recordings table")
	}
	return x.setUnit("")
}
