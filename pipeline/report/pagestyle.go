package report

import "html/template"

// reportPage is the page. A part is a row of two columns: the STROBE items, which
// stand above the part where the window is narrow, and the part itself.
const reportPage = `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="color-scheme" content="light">
<title>{{.Title}}: report</title>
<style>{{.Style}}</style>
</head>
<body>
<a class="skip" href="#content">Go to the content</a>
<header>
<p class="kind">Report of a cohort of pulse recordings · {{.ID}}</p>
<h1>{{.Title}}</h1>
<p class="caution">{{.Caution}}</p>
<nav aria-labelledby="contents"><h2 id="contents">Contents</h2>
<ol>{{range .Sections}}<li><a href="#{{.ID}}">{{.Title}}</a></li>{{end}}</ol></nav>
</header>
<main id="content" tabindex="-1">
{{range .Sections}}<section aria-labelledby="{{.ID}}">
{{if .Strobe}}<p class="item">STROBE {{.Strobe}}</p>
{{end}}<div class="body">
<h2 id="{{.ID}}">{{.Title}}</h2>
{{range .Paragraphs}}<p>{{.}}</p>
{{end}}{{if .List}}<ul>{{range .List}}<li>{{.}}</li>{{end}}</ul>
{{end}}{{range .Drawings}}<figure>
<div class="wide" role="region" aria-label="Figure: {{.Title}}" tabindex="0">
{{figure .}}</div>
<figcaption>{{.Caption}}</figcaption>
</figure>
{{end}}{{range .Tables}}{{template "table" page .}}{{end}}{{range .Closing}}<p>{{.}}</p>
{{end}}{{if .Command}}<pre class="wide" role="region" aria-label="Command" tabindex="0"><code>{{.Command}}</code></pre>
{{end}}{{if .Digests}}<details>
<summary>Digests: {{len .Digests}} files</summary>
<dl>{{range .Digests}}<dt>{{.Of}}</dt><dd><code>{{.SHA256}}</code></dd>
{{end}}</dl>
</details>
{{end}}</div>
</section>
{{end}}</main>
<footer><p class="caution">{{.Caution}}</p></footer>
</body>
</html>
`

// tablePart is a table with its notes, in a region that scrolls by keyboard.
const tablePart = `{{define "table"}}{{if .Fold}}<details>
<summary>{{.Title}}: table of {{len .Rows}} rows</summary>
{{end}}<div class="wide" role="region" aria-labelledby="{{.Name}}" tabindex="0">
<table>
<caption id="{{.Name}}">{{.Title}}</caption>
<thead><tr>{{range .Heads}}<th scope="col" class="stub">{{.}}</th>{{end}}{{range .Columns}}<th scope="col">{{.}}</th>{{end}}</tr></thead>
{{$span := .Span}}{{range .Groups}}<tbody>
<tr><th scope="rowgroup" colspan="{{$span}}">{{.Label}}</th></tr>
{{range .Rows}}<tr>{{range .Labels}}<th scope="row">{{.}}</th>{{end}}{{range .Cells}}{{if quantity .}}<td>{{range pieces .}}<span>{{.}}</span>{{end}}</td>{{else}}<td>{{.}}</td>{{end}}{{end}}</tr>
{{end}}</tbody>
{{end}}</table>
</div>
{{range .Notes}}<p class="note">{{.}}</p>
{{end}}{{if .Fold}}</details>
{{end}}{{end}}`

const reportStyle template.CSS = `
:root{color-scheme:light}
body{margin:0 auto;padding:1rem;max-width:60rem;font:1rem/1.5 system-ui,"Liberation Sans",Arial,sans-serif;color:#111;background:#fff}
h1{font-size:1.6rem;line-height:1.25;margin:.2rem 0 .8rem}
h2{font-size:1.25rem;line-height:1.3;margin:0 0 .6rem}
p,ul,dl,figcaption{overflow-wrap:anywhere}
p,ul,dl{margin:.5rem 0;max-width:44rem}
a{color:#00537f}
.kind{color:#444}
.caution{border-left:.35rem solid #111;padding:.4rem .8rem;font-weight:600}
nav ol{columns:2 16rem;padding-left:1.6rem;max-width:44rem}
nav h2{font-size:1rem;margin:1rem 0 .2rem}
.skip{position:absolute;left:-100rem}
.skip:focus{left:1rem;top:.5rem;background:#fff;padding:.4rem .6rem;outline:3px solid #111}
summary{cursor:pointer;font-weight:600;padding:.35rem 0;max-width:44rem}
details{margin:.6rem 0;border-top:1px solid #767676;border-bottom:1px solid #767676}
a:focus-visible,summary:focus-visible,.wide:focus-visible{outline:3px solid #0072b2;outline-offset:2px}
main:focus{outline:none}
section{border-top:1px solid #767676;padding:1.2rem 0}
.item{margin:0 0 .3rem;color:#444;font-size:.9rem}
.wide{overflow-x:auto;margin:.8rem 0 .3rem}
figure{margin:1.2rem 0}
figure svg{display:block}
figcaption,.note{font-size:.9rem;max-width:44rem;color:#222}
.note{margin:.3rem 0}
table{border-collapse:collapse;border-top:2px solid #111;border-bottom:2px solid #111;font-size:.92rem;font-variant-numeric:tabular-nums}
caption{text-align:left;font-weight:600;padding:.4rem 0}
th,td{padding:.2rem .55rem;text-align:right;vertical-align:top}
th{font-weight:600}
thead th{border-bottom:1px solid #111;vertical-align:bottom}
tbody th,thead th.stub{text-align:left}
tbody th[scope=row]{font-weight:400;white-space:pre-wrap;min-width:4rem}
tbody th[scope=rowgroup]{padding-top:.6rem}
td span{white-space:nowrap}
dt{font-weight:600;margin-top:.4rem}
dd{margin:0;overflow-wrap:anywhere}
pre{background:#f2f2f2;padding:.6rem .8rem}
code{font-family:ui-monospace,"Liberation Mono",monospace;font-size:.9rem}
@media (min-width:62rem){section{display:grid;grid-template-columns:7.5rem minmax(0,1fr);column-gap:1rem}.item{grid-column:1;text-align:right;padding-top:.3rem}.body{grid-column:2;min-width:0}
header,footer{padding-left:8.5rem}}
@media (max-width:40rem){tbody th[scope=row]:first-child,thead th:first-child{position:sticky;left:0;background:#fff;min-width:6rem}tbody th[scope=rowgroup]{position:static}th,td{padding:.2rem .4rem}}
@media print{
body{max-width:none;padding:0;font-size:10pt}
nav,.skip,summary{display:none}
td span{white-space:normal}
details{border:none}
details::details-content{display:block;content-visibility:visible;block-size:auto;overflow:visible}
.wide{overflow:visible}
p,li,figure,tr{break-inside:avoid}
h2,.item,.body>p,caption,thead,tbody tr:first-child{break-after:avoid}
.note,tr:last-child{break-before:avoid}
figure{margin:.8rem 0}
figure svg{max-width:86%;max-height:225mm;height:auto}
section{padding:.8rem 0}
table{font-size:8pt}
thead{display:table-header-group}
}
`
