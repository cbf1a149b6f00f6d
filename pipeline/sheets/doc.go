// Package sheets draws recordings for a person to read over: one sheet a
// recording, sheets on pages, pages in a book with an index. It turns values into
// HTML and SVG and computes nothing about the pulse; it reads and writes no file.
//
// A page needs no network and no server. A small script adds the keys and keeps
// the verdicts; without it the page is readable all the same. With it the figures
// and tables of a sheet, which stand in a noscript element, become elements when
// the sheet is neared, so that a page of hundreds opens at once. On paper a
// recording has a page. Every text that comes from a study is escaped, whatever
// it holds.
package sheets
