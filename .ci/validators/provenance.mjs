// Validators of others on what a results folder says of where it comes from.
//   node provenance.mjs RESULTS PROGRAM
// The manifest: its JSON Schema by ajv, its canonical form by another
// implementation of RFC 8785. A bag: sha256sum, and the rules of RFC 8493. A
// crate: the ro-crate library offline, JSON-LD expansion that drops no term, and
// the published rules of the Process Run Crate profile. A Data Package of the
// full tables, row by row. The last line is "N passed, N failed".
import { execFileSync, spawnSync } from 'node:child_process'
import { createHash } from 'node:crypto'
import { appendFileSync, mkdtempSync, readFileSync, readdirSync, rmSync, statSync } from 'node:fs'
import { createRequire } from 'node:module'
import { tmpdir } from 'node:os'
import { join, relative, resolve } from 'node:path'
import Ajv from 'ajv/dist/2020.js'
import formats from 'ajv-formats'
import canonicalize from 'canonicalize'
import datapackage from 'datapackage'
import jsonld from 'jsonld'

const require = createRequire(import.meta.url)
const context = require('ro-crate/lib/context.json')
// The library asks for the context it carries itself: no network is needed.
globalThis.fetch = async url => {
  if (url !== context['@id']) throw new Error(`no network: ${url}`)
  return { ok: true, json: async () => context }
}
const { ROCrate, Checker, Validator } = require('ro-crate')

const [results, program] = process.argv.slice(2).map(p => resolve(p))
let passed = 0
let failed = 0
function check(what, ok, why = '') {
  if (ok) passed++
  else {
    failed++
    console.log(`FAILED ${what}: ${why}`)
  }
}

const sha256 = data => createHash('sha256').update(data).digest('hex')
const array = v => v === undefined ? [] : Array.isArray(v) ? v : [v]

function filesBelow(dir, base = dir) {
  return readdirSync(dir, { withFileTypes: true }).flatMap(e =>
    e.isDirectory() ? filesBelow(join(dir, e.name), base) : [relative(base, join(dir, e.name))]).sort()
}

function manifest() {
  const text = readFileSync(join(results, 'manifest.json'), 'utf8')
  const schema = JSON.parse(execFileSync(program, ['schema', '--format', 'json-schema']))
  const ajv = new Ajv({ strict: true, allowUnionTypes: true, allErrors: true })
  formats(ajv)
  const validate = ajv.compile(schema)
  check('manifest: JSON Schema', validate(JSON.parse(text)), ajv.errorsText(validate.errors))
  const spoilt = JSON.parse(text)
  spoilt.outputs[0].path = '../x'
  check('manifest: JSON Schema refuses a path that leaves', !validate(spoilt))
  const { content, run, ...promised } = JSON.parse(text)
  check('manifest: content digest by another canonical form', sha256(canonicalize(promised)) === content, sha256(canonicalize(promised)))
}

// RFC 8493, sections 2.1 to 2.2 and 3.
function bag(dir, name) {
  const lines = file => readFileSync(join(dir, file), 'utf8').split('\n').filter(Boolean)
  check(`${name}: bagit.txt`, readFileSync(join(dir, 'bagit.txt'), 'utf8') === 'BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n')
  for (const [list, listed] of [['manifest-sha256.txt', filesBelow(join(dir, 'data')).map(f => 'data/' + f)],
    ['tagmanifest-sha256.txt', ['bag-info.txt', 'bagit.txt', 'manifest-sha256.txt']]]) {
    const entries = lines(list).map(l => /^([0-9a-f]{64}) {2}(.+)$/.exec(l))
    check(`${name}: form of ${list}`, entries.every(Boolean))
    const paths = entries.map(e => e[2])
    check(`${name}: ${list} lists every file once`, JSON.stringify([...paths].sort()) === JSON.stringify(listed), `${paths.length} and ${listed.length}`)
    check(`${name}: no path leaves`, paths.every(p => !/^[/~]|\.\.|\\/.test(p)))
    check(`${name}: digests of ${list}`, entries.every(e => sha256(readFileSync(join(dir, e[2]))) === e[1]))
    check(`${name}: sha256sum -c ${list}`, spawnSync('sha256sum', ['--quiet', '--strict', '-c', list], { cwd: dir }).status === 0)
  }
  const info = Object.fromEntries(lines('bag-info.txt').map(l => l.split(/: (.*)/s)))
  const payload = filesBelow(join(dir, 'data')).map(f => statSync(join(dir, 'data', f)).size)
  check(`${name}: Payload-Oxum`, info['Payload-Oxum'] === `${payload.reduce((a, b) => a + b, 0)}.${payload.length}`, info['Payload-Oxum'])
  check(`${name}: Bagging-Date`, /^\d{4}-\d\d-\d\d$/.test(info['Bagging-Date']))
  appendFileSync(join(dir, 'data/release/flow.csv'), 'x')
  check(`${name}: sha256sum finds a changed file`, spawnSync('sha256sum', ['--quiet', '-c', 'manifest-sha256.txt'], { cwd: dir }).status !== 0)
}

async function crate(dir, name) {
  const document = JSON.parse(readFileSync(join(dir, 'ro-crate-metadata.json'), 'utf8'))
  const crate = new ROCrate(document, { array: true, link: true })
  const checker = new Checker(crate)
  await checker.check()
  for (const item of checker.checklist) check(`${name}: ${item.name}`, item.status, item.message)
  const validator = new Validator()
  validator.parseJSON(document)
  const present = Object.fromEntries(filesBelow(dir).map(f => [f, { exists: true }]))
  for (const d of ['release/', 'tables/']) if (readdirSync(dir).includes(d.slice(0, -1))) present[d] = { exists: true, isDir: true }
  validator.checkFiles(present)
  const bad = validator.results.filter(r => r.status === 'error' || r.status === 'warning' && r.entity !== 'ro-crate-metadata.json')
  check(`${name}: files and entities`, bad.length === 0, bad.slice(0, 3).map(r => `${r.entity}: ${r.message}`).join('; '))
  // Safe mode fails where a term is in no vocabulary and would be dropped.
  try {
    const expanded = await jsonld.expand(document, {
      safe: true, base: 'https://example.org/crate/', documentLoader: async url => {
        if (url !== context['@id']) throw new Error(`no network: ${url}`)
        return { contextUrl: null, documentUrl: url, document: context }
      }
    })
    check(`${name}: JSON-LD`, expanded.length === document['@graph'].length, `${expanded.length} of ${document['@graph'].length} entities`)
  } catch (e) {
    check(`${name}: JSON-LD`, false, e.message + ' ' + JSON.stringify(e.details?.event?.details ?? ''))
  }
  profile(dir, name, document['@graph'])
}

// What RO-Crate 1.2 and the profile Process Run Crate 0.5 ask for (MUST, and
// SHOULD where the facts are known), https://w3id.org/ro/wfrun/process/0.5.
function profile(dir, name, graph) {
  const by = new Map(graph.map(e => [e['@id'], e]))
  check(`${name}: one entity an @id`, by.size === graph.length)
  const is = (e, type) => array(e?.['@type']).includes(type)
  const to = (e, property) => array(e?.[property]).map(r => by.get(r['@id']))
  const root = by.get('./')
  check(`${name}: descriptor`, by.get('ro-crate-metadata.json').conformsTo['@id'] === 'https://w3id.org/ro/crate/1.2' && to(by.get('ro-crate-metadata.json'), 'about')[0] === root)
  const profiles = to(root, 'conformsTo')
  check(`${name}: conforms to the profile`, profiles.length === 1 && profiles[0]['@id'] === 'https://w3id.org/ro/wfrun/process/0.5' && is(profiles[0], 'CreativeWork') && profiles[0].version === '0.5')
  const flat = graph.every(e => Object.values(e).every(v => array(v).every(x => typeof x === 'string' || (Object.keys(x).length === 1 && x['@id']))))
  check(`${name}: flattened`, flat)
  const refs = graph.flatMap(e => Object.values(e).flatMap(array)).filter(x => typeof x === 'object').map(x => x['@id'])
  check(`${name}: every reference is described`, refs.every(id => by.has(id) || /^https?:\/\/(schema\.org|w3id\.org\/ro\/crate)/.test(id)), refs.find(id => !by.has(id) && !/^https?:/.test(id)))
  const reached = new Set()
  const walk = e => to(e, 'hasPart').forEach(p => { reached.add(p); walk(p) })
  walk(root)
  const files = graph.filter(e => is(e, 'File'))
  check(`${name}: every file is a part`, files.every(f => reached.has(f)) && files.length > 10)
  check(`${name}: files with size and digest`, files.every(f => {
    const data = readFileSync(join(dir, decodeURIComponent(f['@id'])))
    return f.sha256 === sha256(data) && f.contentSize === String(data.length) && f.encodingFormat
  }))
  check(`${name}: no @id leaves`, files.every(f => !/^[/.]|\.\.|\s/.test(f['@id'])))
  const actions = graph.filter(e => is(e, 'CreateAction'))
  check(`${name}: one action, mentioned`, actions.length === 1 && to(root, 'mentions').includes(actions[0]))
  const [run] = actions
  const [tool] = to(run, 'instrument')
  check(`${name}: instrument`, is(tool, 'SoftwareApplication') && tool.name && tool.softwareVersion)
  check(`${name}: objects`, to(run, 'object').length > 0 && to(run, 'object').every(o => o && (o.sha256 || o.identifier)))
  check(`${name}: results`, to(run, 'result').length === files.length && to(run, 'result').every(r => reached.has(r)))
  const time = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d$/
  check(`${name}: times with offset`, time.test(run.startTime) && time.test(run.endTime), run.endTime)
  check(`${name}: status`, run.actionStatus['@id'] === 'http://schema.org/CompletedActionStatus')
}

async function tables(dir, name) {
  const descriptor = JSON.parse(readFileSync(join(dir, 'datapackage.json'), 'utf8'))
  check(`${name}: files`, JSON.stringify(filesBelow(dir)) === JSON.stringify([...descriptor.resources.map(r => r.path), 'datapackage.json'].sort()))
  // The reader guesses the delimiter, and guesses wrong where texts hold others.
  for (const r of descriptor.resources) r.dialect = { delimiter: ',' }
  const pack = await datapackage.Package.load(descriptor, { basePath: dir })
  check(`${name}: descriptor`, pack.valid, pack.errors.join('; '))
  for (const r of descriptor.resources) {
    const bytes = readFileSync(join(dir, r.path))
    check(`${name}, ${r.name}: hash`, r.hash === 'sha256:' + sha256(bytes) && r.bytes === bytes.length)
    if (bytes.length > 4 << 20) continue // the validator takes minutes over a long table
    try {
      const rows = await pack.getResource(r.name).read()
      check(`${name}, ${r.name}: rows`, rows.length > 0 || bytes.toString().split('\n').length === 2)
    } catch (e) {
      check(`${name}, ${r.name}: rows`, false, e.message + ' ' + (e.errors ?? []).slice(0, 3).join('; '))
    }
  }
}

const scratch = mkdtempSync(join(tmpdir(), 'tonocohort-provenance-'))
const make = (form, ...more) => {
  const dir = join(scratch, [form, ...more].join(''))
  execFileSync(program, ['package', results, '--as', form, '--out', dir, ...more], { stdio: 'ignore' })
  return dir
}
try {
  manifest()
  for (const more of [[], ['--restricted']]) {
    const what = form => [form, ...more].join(' ')
    bag(make('bagit', ...more), what('bagit'))
    await crate(make('ro-crate', ...more), what('ro-crate'))
    await tables(make('data-package', ...more), what('data-package'))
  }
} finally {
  rmSync(scratch, { recursive: true })
}
console.log(`${passed} passed, ${failed} failed`)
process.exit(failed === 0 && passed > 0 ? 0 : 1)
