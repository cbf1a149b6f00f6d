// Package sheets draws recordings for a person to read over: one sheet a
// recording, sheets on pages, pages in a book with an index. It turns values into
// HTML and SVG and computes nothing about the pulse; it reads and writes no file.
//
// A page needs no network and no server. A small script adds the keys and keeps
// the verdicts; without it the page is readable all the same. Every text that
// comes from a study is escaped, whatever it holds.
package sheets
