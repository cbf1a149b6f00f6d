(() => {
'use strict'
const book = JSON.parse(document.getElementById('book').textContent)
const one = id => document.getElementById(id)
const sheets = [...document.querySelectorAll('.sheet')]
const lines = [...document.querySelectorAll('tr[data-recording]')]
const place = 'tonocohort reading book ' + book.id
const identifier = /^[\p{L}\p{N}][\p{L}\p{N} ._:/+\-]{0,63}$/u
let verdicts = {} // by reader and recording
let steps = [] // what undo takes back, last one last
let now = -1
let served = false
let lasting = true
let sending = Promise.resolve()

const reader = () => one('reader').value.trim()
const nameOf = (who, recording) => who + '\n' + recording
const mine = recording => verdicts[nameOf(reader(), recording)]
const say = text => { one('said').textContent = text }

// What the browser keeps. Another page of the book may have added to it, so that
// it is read again before every change.
function recall() {
  try {
    const kept = JSON.parse(localStorage.getItem(place) || '{}')
    if (!served) verdicts = kept.verdicts || {}
    steps = kept.steps || []
    return kept.reader
  } catch { lasting = false }
}
function keep() {
  if (!lasting) return
  try {
    localStorage.setItem(place, JSON.stringify(served ? { steps, reader: reader() } : { verdicts, steps, reader: reader() }))
  } catch { lasting = false }
}

const today = () => {
  const d = new Date()
  const two = n => String(n).padStart(2, '0')
  return d.getFullYear() + '-' + two(d.getMonth() + 1) + '-' + two(d.getDate())
}

// change sets or, with nothing, takes away the verdict of a reader.
function change(who, recording, verdict) {
  if (verdict) verdicts[nameOf(who, recording)] = verdict
  else delete verdicts[nameOf(who, recording)]
  keep()
  if (served) send([{ recording, reader: who, ...(verdict || { decision: '', reason: '', read_on: '' }) }])
  show()
}

function send(changes) {
  sending = sending.then(async () => {
    const body = JSON.stringify({ changes })
    const answer = await fetch('decisions', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body })
    if (!answer.ok) throw new Error(await answer.text())
  }).catch(e => say('NOT written: ' + String(e.message).trim() + ' — download what is here, then start again.'))
}

function decide(sheet, decision) {
  if (!sheet) return
  const recording = sheet.dataset.recording
  const who = reader()
  if (wrong(who)) return
  recall()
  const before = mine(recording) || null
  steps.push({ who, recording, before })
  const reason = sheet.querySelector('input').value.trim()
  change(who, recording, { decision, reason, read_on: today() })
  say(recording + (decision === 'accept' ? ' accepted' : ' rejected') + (reason ? '' : ', without a reason') + '. ' + left() + (who ? '' : ' Who reads? The field “Reader” is empty.'))
}

// wrong says why a text cannot be a reader.
function wrong(who) {
  if (!who || identifier.test(who)) return false
  one('reader').focus()
  say('A reader begins with a letter or a digit, and has up to 64 letters, digits, blanks and . _ : / + -')
  return true
}

// undo takes back the last step that changed a verdict.
function undo() {
  recall()
  const last = steps.pop()
  if (!last) return say('There is nothing to undo.')
  const at = sheets.find(s => s.dataset.recording === last.recording)
  change(last.who, last.recording, last.before)
  if (at) {
    at.querySelector('input').value = last.before ? last.before.reason : ''
    go(sheets.indexOf(at))
  }
  say(last.recording + (last.before ? ' is ' + last.before.decision + 'ed again.' : ' is open again.') + ' ' + left())
}

// reason of a recording that has a verdict changes with what is typed.
function reasoned(sheet) {
  const recording = sheet.dataset.recording
  recall()
  const verdict = mine(recording)
  const reason = sheet.querySelector('input').value.trim()
  if (!verdict || verdict.reason === reason) return
  steps.push({ who: reader(), recording, before: verdict })
  change(reader(), recording, { ...verdict, reason })
  say('Reason of ' + recording + ': ' + (reason || 'none') + '.')
}

// named gives verdicts made before anybody said who reads to who says so first.
function named() {
  const who = reader()
  if (wrong(who)) return
  recall()
  const nameless = Object.keys(verdicts).filter(k => k.startsWith('\n'))
  if (who && nameless.length) {
    const changes = []
    for (const k of nameless) {
      const recording = k.slice(1)
      const verdict = verdicts[k]
      delete verdicts[k]
      verdicts[nameOf(who, recording)] = verdict
      changes.push({ recording, reader: '', decision: '', reason: '', read_on: '' }, { recording, reader: who, ...verdict })
    }
    steps = steps.map(s => s.who ? s : { ...s, who })
    if (served) send(changes)
    say(nameless.length + ' verdicts made before now carry ' + who + '.')
  }
  keep()
  fill()
  show()
}

function read(recording) {
  return Boolean(mine(recording)) || (reader() !== '' && book.earlier.some(e => e.recording === recording && e.reader === reader()))
}
function left() {
  const done = new Set(book.earlier.filter(e => reader() !== '' && e.reader === reader()).map(e => e.recording))
  for (const k of Object.keys(verdicts)) {
    const cut = k.indexOf('\n')
    if (k.slice(0, cut) === reader()) done.add(k.slice(cut + 1))
  }
  return (book.recordings - done.size) + ' of ' + book.recordings + ' undecided.'
}

function show() {
  one('count').textContent = left()
  for (const s of sheets) {
    const verdict = mine(s.dataset.recording)
    const state = s.querySelector('.state')
    state.querySelector('.mark').textContent = verdict ? (verdict.decision === 'accept' ? '✓' : '✕') : '○'
    state.querySelector('.word').textContent = verdict ? verdict.decision + 'ed' + (reader() ? ' by ' + reader() : '')
      : read(s.dataset.recording) ? 'read before by ' + reader() : 'open'
    for (const b of s.querySelectorAll('button')) b.setAttribute('aria-pressed', String(Boolean(verdict) && b.dataset.do === verdict.decision))
  }
  for (const line of lines) {
    const verdict = mine(line.dataset.recording)
    line.lastElementChild.textContent = verdict ? (verdict.decision === 'accept' ? '✓ accept' : '✕ reject') : read(line.dataset.recording) ? 'read before' : '○ open'
  }
  if (!lasting) say('This browser keeps nothing: download before you leave the page.')
}

// fill puts the reasons that are kept into their fields.
function fill() {
  for (const s of sheets) {
    const verdict = mine(s.dataset.recording)
    if (verdict) s.querySelector('input').value = verdict.reason
  }
}

// The figures and tables of a sheet stand in a noscript element: without a script a
// browser shows them as they are; with one it takes them for text, which is read
// many times as fast. They are unfolded where they are looked at first, then
// everywhere while nothing else is to do, and at once for print.
function unfold(sheet) {
  const rest = sheet && sheet.querySelector('noscript')
  if (!rest) return
  rest.insertAdjacentHTML('afterend', rest.textContent)
  rest.remove()
}
const folded = () => document.querySelector('.sheet > noscript')
const near = new IntersectionObserver(seen => {
  for (const e of seen) {
    if (!e.isIntersecting) continue
    near.unobserve(e.target)
    unfold(e.target)
  }
}, { rootMargin: '3000px 0px' })
const idle = window.requestIdleCallback || (f => setTimeout(() => f({ timeRemaining: () => 0 }), 50))
function unfoldRest(spare) {
  do unfold(folded()?.parentElement)
  while (folded() && spare.timeRemaining() > 10)
  if (folded()) idle(unfoldRest)
  else document.documentElement.dataset.whole = 'yes'
}
window.addEventListener('beforeprint', () => { for (const s of sheets) unfold(s) })

function go(to) {
  if (to < 0 || to >= sheets.length) {
    const page = to < 0 ? book.previous : book.next
    if (!page) return say(to < 0 ? 'This is the first recording.' : 'This is the last recording. ' + left())
    sending.then(() => { location.href = page + (to < 0 ? '#last' : '#first') })
    return
  }
  mark(to)
  for (const s of sheets.slice(Math.max(0, to - 1), to + 2)) unfold(s)
  sheets[to].querySelector('h2').focus()
  sheets[to].scrollIntoView({ block: 'start' })
}
function mark(at) {
  if (sheets[now]) sheets[now].classList.remove('now')
  now = at
  if (sheets[now]) sheets[now].classList.add('now')
}

// The reviews table, as a program reads it: a cell with a sign of the format is
// quoted, and a reason that a spreadsheet would run as a formula has an
// apostrophe before it.
function cell(text) {
  return new RegExp('["\\r\\n' + book.delimiter + ']|^ ').test(text) ? '"' + text.replaceAll('"', '""') + '"' : text
}
const plain = text => (/^[=+\-@]/.test(text) ? "'" : '') + text.replace(/[\p{Cc}\u2028\u2029]/gu, ' ')
function dated(day) {
  const [y, m, d] = day.split('-')
  return book.dates.replace('yyyy', y).replace('mm', m).replace('dd', d)
}
function table() {
  const rows = Object.entries(verdicts).map(([k, v]) => {
    const cut = k.indexOf('\n')
    return [k.slice(cut + 1), v.decision, plain(v.reason), k.slice(0, cut), dated(v.read_on)]
  })
  rows.sort((a, b) => a[0] < b[0] ? -1 : a[0] > b[0] ? 1 : a[3] < b[3] ? -1 : a[3] > b[3] ? 1 : 0)
  return [['recording_id', 'decision', 'reason', 'reader', 'read_on'], ...rows].map(r => r.map(cell).join(book.delimiter) + '\n').join('')
}
function download() {
  recall()
  const link = document.createElement('a')
  link.href = URL.createObjectURL(new Blob([table()], { type: 'text/csv' }))
  link.download = book.file
  link.click()
  setTimeout(() => URL.revokeObjectURL(link.href), 10000)
  say(Object.keys(verdicts).length + ' verdicts written to ' + book.file + ' in the downloads.')
}

const acts = {
  j: () => go(now + 1), k: () => go(now - 1), a: () => decide(sheets[now], 'accept'), r: () => decide(sheets[now], 'reject'),
  u: undo, d: download, i: () => one('reader').focus(), n: () => sheets[now] && sheets[now].querySelector('input').focus(),
}
document.addEventListener('keydown', e => {
  if (e.ctrlKey || e.altKey || e.metaKey) return
  const typing = e.target.matches('input[type=text]')
  if (typing && (e.key === 'Enter' || e.key === 'Escape')) {
    e.preventDefault()
    e.target.blur()
    if (sheets[now]) sheets[now].querySelector('h2').focus()
    return
  }
  const act = acts[e.key]
  if (typing || !act || !one('keys').checked) return
  e.preventDefault()
  act()
})
for (const [i, s] of sheets.entries()) {
  s.querySelector('.verdict').hidden = false
  s.addEventListener('focusin', () => mark(i))
  s.addEventListener('pointerdown', () => mark(i))
  for (const b of s.querySelectorAll('button')) b.addEventListener('click', () => decide(s, b.dataset.do))
  s.querySelector('input').addEventListener('change', () => reasoned(s))
}
for (const e of document.querySelectorAll('.here')) e.hidden = false
one('reader').addEventListener('change', named)
one('undo').addEventListener('click', undo)
one('save').addEventListener('click', download)
if (one('next')) {
  one('next').addEventListener('click', acts.j)
  one('previous').addEventListener('click', acts.k)
}
window.addEventListener('storage', () => { recall(); fill(); show() })

async function start() {
  const who = recall()
  if (location.protocol === 'http:') {
    try {
      const answer = await fetch('decisions')
      if (answer.ok) {
        const there = await answer.json()
        served = true
        verdicts = {}
        for (const v of there.decisions) verdicts[nameOf(v.reader, v.recording)] = { decision: v.decision, reason: v.reason, read_on: v.read_on }
        say('Verdicts are written to ' + there.file + ' as they are made.')
        if (one('kept')) one('kept').textContent = 'Verdicts are written to ' + there.file + ' as they are made. A verdict overrides the grade in the next run; one reject outweighs any accept.'
      }
    } catch { /* a server without the program behind it: the browser keeps what is decided */ }
  }
  if (who && !one('reader').value) one('reader').value = who
  one('tools').hidden = false
  fill()
  show()
  if (location.hash === '#last') go(sheets.length - 1)
  else if (sheets.length) {
    const named = sheets.findIndex(s => '#' + s.id === location.hash)
    if (named >= 0 || location.hash === '#first') go(Math.max(0, named))
    else mark(0)
  }
  for (const s of sheets) near.observe(s)
  document.documentElement.dataset.ready = 'yes'
  idle(unfoldRest)
}
start()
})()
