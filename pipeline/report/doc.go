// Package report turns results into what people look at: figures in SVG and
// text in Markdown. It reads what the contract declares and computes nothing
// that is not in it.
package report
