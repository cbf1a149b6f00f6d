package pipeline

import (
	"runtime"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// guarded carries a recording through the doors. A panic ends here and costs
// this recording: a wave that nobody foresaw must not take a night's run of a
// hundred thousand others with it. The worker's memory, which the panic may have
// left half written, is made anew. Reading has a guard of its own, since check
// reads too; this one is for what is computed.
func (w *worker) guarded(sex string, visit *study.Visit, row *study.Recording) (r *recordingResult) {
	defer func() {
		if p := recover(); p != nil {
			w.renew()
			r = w.begin(sex, visit, row)
			w.failed(r, panicked(row, p))
		}
	}()
	return w.recording(sex, visit, row)
}

// panicked is the Issue of a panic. Only what the runtime says is told: other
// words may quote a file.
func panicked(row *study.Recording, p any) *schema.Issue {
	issue := &schema.Issue{Size: schema.SizeRecording, File: row.File, Code: "computing_failed",
		Message: "the program failed on it", Hint: "please report it with the file"}
	if e, ok := p.(runtime.Error); ok {
		issue.Message += ": " + e.Error()
	}
	return issue
}
