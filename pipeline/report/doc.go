// Package report turns results into what people look at: text in
// Markdown. It reads what the contract declares and computes nothing
// that is not in it.
package report
