// Package pipeline puts the steps in order: Check judges a study, Run carries it
// from files to tables, Verify recomputes what the manifest promises. It is the
// only package that knows the order.
//
// One subject walks through five doors: recording.Read hashes the very bytes it
// parses, pulse.Analyse finds and averages the beats, central.Estimate works
// back the aortic wave, the result lands in the subject's own slot of its
// chunk, and parquet.Append writes the chunk's rows in order. Statistics read
// the written tables back, so what is summarised is what stands there.
package pipeline
