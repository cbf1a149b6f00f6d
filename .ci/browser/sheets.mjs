// A book of recordings in a real browser, from the disk and served.
//   node sheets.mjs STUDY RESULTS PROGRAM [FOLDER for pictures]
// Held: what a page costs to open; axe-core finds nothing (WCAG 2.2, A and AA) and the Nu
// checker no error; it fits 320 px; it loads nothing and reports nothing; a
// verdict by keys alone ends in reviews.csv and changes the next run.
import { execFileSync, spawn, spawnSync } from 'node:child_process'
import { mkdtempSync, mkdirSync, readFileSync, readdirSync, rmSync } from 'node:fs'
import { createRequire } from 'node:module'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import { pathToFileURL } from 'node:url'
import { chromium } from 'playwright-core'
import vnu from 'vnu-jar'

const [study, results, program, pictures] = process.argv.slice(2).map(p => resolve(p))
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8')
const flags = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync']
let passed = 0
let failed = 0
function check(what, ok, why = '') {
  if (ok) passed++
  else {
    failed++
    console.log(`FAILED ${what}: ${why}`)
  }
}
const run = (...args) => execFileSync(program, args, { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'], maxBuffer: 1 << 28 })
const rows = text => text.trim().split('\n').map(line => line.split(','))

// browse gives a fresh browser profile to what is done in it, and holds it to
// loading nothing from elsewhere and reporting nothing.
async function browse(scratch, what, visit) {
  const context = await chromium.launchPersistentContext(mkdtempSync(join(scratch, 'profile-')), {
    executablePath: process.env.CHROMIUM || '/usr/bin/chromium', args: flags, headless: true, viewport: { width: 1040, height: 900 }, acceptDownloads: true,
  })
  const page = context.pages()[0] ?? await context.newPage()
  const said = []
  page.on('console', m => { if (m.type() === 'error' || m.type() === 'warning') said.push(m.text()) })
  page.on('pageerror', e => said.push(String(e)))
  page.on('request', r => { if (!/^(file:|data:|blob:|http:\/\/127\.0\.0\.1:)/.test(r.url())) said.push('asks for ' + r.url()) })
  try {
    await visit(page, context)
  } catch (e) {
    said.push(e.stack)
  }
  await context.close()
  check(`${what}: nothing to report`, said.length === 0, said.join('\n'))
}
const ready = page => page.waitForFunction(() => document.documentElement.dataset.ready === 'yes')
const whole = page => page.waitForFunction(() => document.documentElement.dataset.whole === 'yes')
const open = async (page, url) => { await page.goto(url); await ready(page) }
const status = page => page.locator('#said').textContent()

// opened opens a page and says what it took: milliseconds, and seconds of the
// processor for its main thread.
async function opened(page, url) {
  const cdp = await page.context().newCDPSession(page)
  await cdp.send('Performance.enable', { timeDomain: 'threadTicks' })
  const spent = async () => (await cdp.send('Performance.getMetrics')).metrics.find(m => m.name === 'TaskDuration').value
  const before = await spent()
  const start = performance.now()
  await open(page, url)
  await page.evaluate(() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r))))
  const took = { ms: Math.round(performance.now() - start), cpu: await spent() - before }
  await cdp.detach()
  return took
}

// Every page of the whole cohort, and 500 recordings in one long page: what it is
// made of is held (bytes, elements), and that its main thread takes less of the
// processor than the 2 s in which it is to open, which no load on the machine changes.
async function speed(scratch) {
  const book = join(scratch, 'all')
  run('sheets', results, '--study', study, '--out', book, '--quiet')
  const names = readdirSync(book).sort()
  await browse(scratch, 'all recordings', async page => {
    await open(page, 'about:blank').catch(() => {})
    const times = []
    for (const name of names) times.push([(await opened(page, pathToFileURL(join(book, name)).href)).ms, name])
    times.sort((a, b) => b[0] - a[0])
    const n = await page.evaluate(() => JSON.parse(document.getElementById('book').textContent).recordings)
    check(`all ${n} recordings: every page opens`, n >= 500, `${n} recordings`)
    console.log(`${n} recordings, ${names.length} pages: slowest ${times[0][1]} ${times[0][0]} ms, median ${times[times.length >> 1][0]} ms`)
  })
  const long = join(scratch, 'long')
  const ids = rows(run('export', results, 'recordings')).slice(1, 501).map(r => r[2])
  run('sheets', results, '--study', study, '--out', long, '--quiet', '--per-page', '500', '--id', ids.join(','))
  const file = join(long, 'page-0001.html')
  const text = readFileSync(file, 'utf8')
  const elements = text.replace(/<noscript class="rest">[^]*?<\/noscript>/g, '').match(/<[a-z]/g).length // those that are read when it opens
  await browse(scratch, '500 recordings on one page', async page => {
    const took = await opened(page, pathToFileURL(file).href)
    const n = await page.locator('.sheet').count()
    check('500 recordings on one page open', n === 500, `${n}`)
    check('500 recordings on one page: bytes', text.length <= 500 * 30_000, `${text.length}`)
    check('500 recordings on one page: elements when it opens', elements <= 500 * 60, `${elements}`)
    check('500 recordings on one page: time of the processor', took.cpu <= 2, `${took.cpu} s`)
    await whole(page)
    const drawn = await page.locator('.sheet svg.trace').count()
    check('500 recordings on one page: everything is there after a while', drawn > 400 && await page.locator('.sheet noscript').count() === 0, `${drawn}`)
    console.log(`500 recordings on one page: ${took.ms} ms (goal: 2000; a time on the wall is the machine's: told, not held), ${took.cpu.toFixed(2)} s of the processor, ${(text.length / 1e6).toFixed(1)} MB, ${elements} elements`)
  })
}

async function accessible(page, what) {
  await whole(page)
  await page.evaluate(() => { for (const d of document.querySelectorAll('details')) d.open = true })
  const found = await page.evaluate(`(() => { const module = undefined, define = undefined; ${axe}; return window.axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] }) })()`)
  check(`${what}: axe-core`, found.violations.length === 0 && found.passes.length > 15,
    JSON.stringify(found.violations.map(v => [v.id, v.nodes.slice(0, 2).map(n => n.html.slice(0, 200) + n.failureSummary)]), null, 1))
}

const picture = async (page, name, whole = false) => {
  if (pictures) await page.screenshot({ path: join(pictures, name + '.png'), fullPage: whole })
}

async function looks(scratch, book) {
  const pages = ['index.html', 'page-0001.html']
  await browse(scratch, 'book', async (page, context) => {
    for (const name of pages) {
      await page.setViewportSize({ width: 1040, height: 900 })
      await open(page, pathToFileURL(join(book, name)).href)
      await accessible(page, name)
      await picture(page, 'light-' + name)
      const cdp = await context.newCDPSession(page)
      await cdp.send('Emulation.setEmulatedVisionDeficiency', { type: 'achromatopsia' })
      await picture(page, 'grey-' + name)
      await cdp.send('Emulation.setEmulatedVisionDeficiency', { type: 'none' })
      await page.emulateMedia({ media: 'print' })
      check(`${name} in print: no tools`, !(await page.locator('#tools').isVisible()))
      await picture(page, 'print-' + name)
      await page.emulateMedia({ media: 'screen' })
      await page.setViewportSize({ width: 320, height: 800 })
      await open(page, pathToFileURL(join(book, name)).href)
      check(`${name} at 320 px: no scrolling sideways`, await page.evaluate(() => document.scrollingElement.scrollWidth <= 320), await page.evaluate(() => document.scrollingElement.scrollWidth))
      await accessible(page, name + ' at 320 px')
      await picture(page, 'narrow-' + name)
    }
  })
  const context = await chromium.launch({ executablePath: process.env.CHROMIUM || '/usr/bin/chromium', args: flags })
  const page = await (await context.newContext({ javaScriptEnabled: false })).newPage()
  await page.goto(pathToFileURL(join(book, pages[1])).href)
  check('without script: sheets are there, buttons are not', await page.locator('.sheet svg.trace').first().isVisible() && await page.locator('.sheet svg.trace').count() >= await page.locator('.sheet').count() - 2 && await page.locator('button:visible').count() === 0)
  await context.close()
  // Printed at once: no sheet is left folded.
  await browse(scratch, 'in print', async page => {
    await page.goto(pathToFileURL(join(book, pages[1])).href)
    await page.pdf(pictures ? { path: join(pictures, 'sheets.pdf') } : {})
    check('in print every sheet is unfolded', await page.locator('.sheet svg.trace').count() > 0 && await page.locator('.sheet noscript').count() === 0)
  })
}

function valid(book) {
  const files = readdirSync(book).slice(0, 3).map(f => join(book, f))
  const nu = spawnSync('java', ['-jar', vnu, '--format', 'json', ...files], { encoding: 'utf8', maxBuffer: 1 << 28 })
  const messages = JSON.parse(nu.stderr || nu.stdout).messages.filter(m => m.type === 'error')
  check('Nu checker', messages.length === 0 && files.length === 3, JSON.stringify(messages.slice(0, 5), null, 1))
}

// By keys alone, from the disk: reader, reject with a reason, accept, undo, over
// the end of the page, download.
async function byKeys(scratch, book) {
  const csv = join(scratch, 'downloaded.csv')
  const made = {}
  await browse(scratch, 'by keys', async page => {
    await open(page, pathToFileURL(join(book, 'page-0001.html')).href)
    const id = () => page.locator('.sheet.now').getAttribute('data-recording')
    const total = await page.locator('#count').textContent()
    await page.keyboard.press('i')
    await page.keyboard.type('ada lovelace')
    await page.keyboard.press('Enter')
    made.rejected = await id()
    await page.keyboard.press('r')
    await page.keyboard.press('n')
    await page.keyboard.type('=1+1, "slipped"')
    await page.keyboard.press('Enter')
    await page.keyboard.press('j')
    made.accepted = await id()
    await page.keyboard.press('a')
    await page.keyboard.press('j')
    made.undone = await id()
    await page.keyboard.press('a')
    await page.keyboard.press('u')
    check('undo says so', (await status(page)).includes(made.undone + ' is open again'), await status(page))
    check('the counter counts', await page.locator('#count').textContent() === total.replace(/^\d+/, n => n - 2), total)
    await page.locator('#keys').uncheck()
    await page.keyboard.press('a')
    check('keys can be turned off', (await page.locator('.sheet.now .word').textContent()) === 'open')
    await page.locator('#keys').check()
    for (let n = await page.locator('.sheet').count(); n > 2; n--) await page.keyboard.press('j')
    await page.waitForURL(/page-0002/)
    await ready(page)
    check('the next page knows reader and count', await page.locator('#reader').inputValue() === 'ada lovelace' && (await page.locator('#count').textContent()).startsWith(String(parseInt(total) - 2)))
    await page.keyboard.press('k')
    await page.waitForURL(/page-0001.*#last/)
    const download = page.waitForEvent('download')
    await ready(page)
    await page.keyboard.press('d')
    await (await download).saveAs(csv)
  })
  const today = new Date()
  const day = [today.getFullYear(), today.getMonth() + 1, today.getDate()].map(n => String(n).padStart(2, '0')).join('-')
  const want = ['recording_id,decision,reason,reader,read_on', ...[`${made.accepted},accept,,ada lovelace,${day}`, `${made.rejected},reject,"'=1+1, ""slipped""",ada lovelace,${day}`].sort(), ''].join('\n')
  const got = readFileSync(csv, 'utf8')
  check('the downloaded table', got === want, got)
  return { ...made, csv }
}

// Tab and Enter alone: the first button of the first sheet is reached and works.
async function byTab(scratch, book) {
  await browse(scratch, 'by tab', async page => {
    await open(page, pathToFileURL(join(book, 'page-0001.html')).href)
    await page.locator('#keys').uncheck()
    let what = ''
    for (let i = 0; i < 60 && what !== 'reject'; i++) {
      await page.keyboard.press('Tab')
      what = await page.evaluate(() => document.activeElement.dataset.do)
    }
    check('a visible mark of focus', await page.evaluate(() => getComputedStyle(document.activeElement).outlineStyle) === 'solid')
    await page.keyboard.press('Enter')
    check('reject by Tab and Enter', (await page.locator('.sheet .word').first().textContent()).startsWith('rejected'))
  })
}

function taken(where, results, recording, decision, reader) {
  const [head, ...lines] = rows(run('export', results, 'reviews'))
  const line = lines.find(l => l[head.indexOf('recording_id')] === recording && l[head.indexOf('reader')] === reader)
  check(`${where}: both verdicts in the next run`, line && line[head.indexOf('decision')] === decision && line.includes('accept'), String(line))
  const [names, ...all] = rows(run('export', results, 'recordings'))
  const now = all.find(l => l[names.indexOf('recording_id')] === recording)
  check(`${where}: the next run leaves it out`, now[names.indexOf('reason')] === 'rejected_by_reader', String(now.slice(0, 8)))
}

// Served: the verdict stands in the study's table before anything is downloaded.
async function served(scratch, dir, out, book) {
  const server = spawn(program, ['sheets', out, '--study', dir, '--quality', 'doubtful', '--serve', '--quiet'], { stdio: ['ignore', 'pipe', 'pipe'] })
  let words = ''
  server.stderr.on('data', d => { words += d })
  const url = await new Promise((done, fail) => {
    server.stdout.once('data', d => done(String(d).trim()))
    server.once('exit', () => fail(new Error(words)))
  })
  let recording = ''
  await browse(scratch, 'served', async page => {
    await open(page, url)
    check('the page says where verdicts go', (await page.locator('#kept').textContent()).includes('reviews.csv of the study'))
    await accessible(page, 'served index')
    await open(page, url + 'page-0001.html')
    await page.keyboard.press('j')
    await page.keyboard.press('j')
    await page.keyboard.press('j')
    recording = await page.locator('.sheet.now').getAttribute('data-recording')
    await page.keyboard.press('r')
    await page.keyboard.press('i')
    await page.keyboard.type('grace')
    await page.keyboard.press('Enter')
    await page.waitForResponse(r => r.url().endsWith('decisions') && r.request().method() === 'POST').catch(() => {})
    for (let i = 0; i < 100 && !readFileSync(join(dir, 'reviews.csv'), 'utf8').includes(`${recording},reject,,grace,`); i++) await page.waitForTimeout(50)
    await page.reload()
    await ready(page)
    check('a reload shows what was decided', (await page.locator(`[data-recording="${recording}"] .word`).textContent()) === 'rejected by grace')
    check('without the token there is nothing', (await fetch(new URL('/wrong/index.html', url))).status === 403)
  }).catch(e => check('served', false, e))
  server.kill('SIGINT')
  const code = await new Promise(done => server.once('exit', done))
  check('Ctrl-C ends it and says what was written', code === 0 && /1 verdicts in reviews\.csv of the study: 1 added/.test(words), `${code} ${words}`)
  check('in place', readFileSync(join(dir, 'reviews.csv'), 'utf8').includes(`${recording},reject,,grace,`))
  return recording
}

const scratch = mkdtempSync(join(tmpdir(), 'tonocohort-browser-'))
try {
  if (pictures) mkdirSync(pictures, { recursive: true })
  run('demo', join(scratch, 'small'), '--subjects', '150', '--quiet')
  const dir = join(scratch, 'small', 'study')
  const out = join(scratch, 'small', 'results')
  const book = join(scratch, 'book')
  run('sheets', out, '--study', dir, '--quality', 'doubtful,unusable', '--per-page', '10', '--out', book, '--quiet')
  valid(book)
  await looks(scratch, book)
  const usable = join(scratch, 'usable')
  run('sheets', out, '--study', dir, '--quality', 'usable', '--unread', '--per-page', '4', '--sample', '20%', '--out', usable, '--quiet')
  const made = await byKeys(scratch, usable)
  await byTab(scratch, book)
  run('sheets', out, '--study', dir, '--merge', made.csv)
  const recording = await served(scratch, dir, out, book)
  const next = join(scratch, 'next')
  const code = spawnSync(program, ['run', dir, '--out', next, '--quiet']).status
  check('the next run', code === 0 || code === 3, code)
  taken('downloaded', next, made.rejected, 'reject', 'ada lovelace')
  taken('served', next, recording, 'reject', 'grace')
  await speed(scratch)
} finally {
  rmSync(scratch, { recursive: true })
}
console.log(`${passed} passed, ${failed} failed`)
process.exit(failed === 0 && passed > 0 ? 0 : 1)
