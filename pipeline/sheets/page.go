package sheets

import (
	"crypto/sha256"
	_ "embed" // style, script and templates
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"path"
	"strings"

	"tonocohort/schema"
)

//go:embed style.css
var style string

//go:embed script.js
var script string

//go:embed head.tmpl
var headText string

//go:embed page.tmpl
var pageText string

//go:embed index.tmpl
var indexText string

func templates() *template.Template {
	return template.Must(template.Must(template.Must(template.New("").Parse(headText)).Parse(pageText)).Parse(indexText))
}

// Policy is the content security policy of every page: nothing is loaded from
// anywhere, and of scripts and styles only ours run, by their digests. Pages
// that are served may talk to where they came from.
func Policy() string {
	return "default-src 'none'; style-src " + sourceHash(style) + "; script-src " + sourceHash(script) +
		"; img-src data:; connect-src 'self'; base-uri 'none'; form-action 'none'"
}

func sourceHash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

// IndexName is the file of the index.
const IndexName = "index.html"

// PageName is the file of a page, from 1.
func PageName(number int) string { return fmt.Sprintf("page-%04d.html", number) }

// link is one page in the list of pages.
type link struct {
	Number  int
	File    string
	Current bool
}

// frame is what every page is filled with.
type frame struct {
	Book    *Book
	Policy  string
	Title   string
	Style   template.CSS
	Script  template.JS
	Caution string
	Data    data
	Number  int // of the page; 0: the index
	Pages   int
	Links   []link
	Offered []string
}

// data is what the script reads.
type data struct {
	ID         string    `json:"id"`
	Recordings int       `json:"recordings"`
	Earlier    []Earlier `json:"earlier"`
	Delimiter  string    `json:"delimiter"`
	Dates      string    `json:"dates"`
	File       string    `json:"file"`
	Previous   string    `json:"previous"`
	Next       string    `json:"next"`
}

func newFrame(b *Book, number int) frame {
	id := sha256.Sum256([]byte(b.Content + "\x00" + b.Filter))
	f := frame{
		Book: b, Policy: Policy(), Style: template.CSS(style), Script: template.JS(script), //nolint:gosec // both are ours
		Caution: schema.Caution, Number: number, Pages: b.Pages(),
		Data: data{ID: fmt.Sprintf("%x", id[:12]), Recordings: b.Recordings, Earlier: b.Earlier, Delimiter: b.Delimiter, Dates: b.Dates, File: path.Base(b.ReviewsName)},
		Offered: []string{"beats clear by eye", "shape clear in most beats", "noise", "movement", "baseline drifts", "sensor slipped", "too few good beats",
			"beats damped", "irregular rhythm", "wrong channel"},
	}
	for i := range f.Pages {
		f.Links = append(f.Links, link{i + 1, PageName(i + 1), i+1 == number})
	}
	if number > 1 {
		f.Data.Previous = PageName(number - 1)
	}
	if number < f.Pages && number > 0 {
		f.Data.Next = PageName(number + 1)
	}
	return f
}

// Writer writes the pages of a book.
type Writer struct {
	book *Book
	set  *template.Template
}

// NewWriter prepares a book.
func NewWriter(b *Book) *Writer { return &Writer{b, templates()} }

// Page writes one page, from 1, with its sheets.
func (w *Writer) Page(out io.Writer, number int, sheets []*Sheet) error {
	first := (number-1)*w.book.PerPage + 1
	p := struct {
		frame
		First, Last int
		Sheets      []*view
	}{frame: newFrame(w.book, number), First: first, Last: first + len(sheets) - 1}
	p.Title = fmt.Sprintf("Recordings %d to %d · %s", p.First, p.Last, w.book.Study)
	for i, s := range sheets {
		p.Sheets = append(p.Sheets, newView(w.book, s, first+i))
	}
	return w.set.ExecuteTemplate(out, "page", p)
}

// line is a row of the index.
type line struct {
	Entry
	Link, Mark, Why, Read string
}

// Index writes the list of all recordings.
func (w *Writer) Index(out io.Writer, entries []Entry) error {
	p := struct {
		frame
		Entries []line
	}{frame: newFrame(w.book, 0)}
	p.Title = "Reading book · " + w.book.Study
	for i, e := range entries {
		l := line{Entry: e, Link: Link(w.book, i), Mark: gradeMark(e.Grade), Why: wordList(e.GradeReasons)}
		if e.Grade == "" {
			l.Grade = "none"
		}
		if e.Reason != "" {
			l.Status += ": " + words(e.Reason)
		}
		for k, r := range e.Reviews {
			if k > 0 {
				l.Read += "; "
			}
			l.Read += r.Decision + "ed by " + orElse(r.Reader, "somebody")
		}
		p.Entries = append(p.Entries, l)
	}
	return w.set.ExecuteTemplate(out, "index", p)
}

// Link leads to the sheet of the i-th recording of the book, from 0.
func Link(b *Book, i int) string {
	return fmt.Sprintf("%s#s%d", PageName(i/b.PerPage+1), i+1)
}

func wordList(names []string) string {
	said := make([]string, len(names))
	for i, n := range names {
		said[i] = words(n)
	}
	return strings.Join(said, ", ")
}

func orElse(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

// gradeMark tells the grades apart without colour.
func gradeMark(grade string) string {
	switch grade {
	case "usable":
		return "●"
	case "doubtful":
		return "◐"
	case "unusable":
		return "○"
	}
	return "–"
}

func missing(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) }
