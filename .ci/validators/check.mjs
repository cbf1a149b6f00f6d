// Validators of others on what the program writes and accepts.
//   node check.mjs RESULTS PROGRAM
// Data Package and Table Schema: the released tables of RESULTS, row by row, and
// the template of a study folder. BIDS: a data set that its validator passes must
// draft into a study whose every recording can be read.
import { execFileSync, spawnSync } from 'node:child_process'
import { createHash } from 'node:crypto'
import { mkdtempSync, mkdirSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { dirname, join, resolve } from 'node:path'
import { fileURLToPath } from 'node:url'
import { gzipSync } from 'node:zlib'
import datapackage from 'datapackage'

const [results, program] = process.argv.slice(2).map(p => resolve(p))
const here = dirname(fileURLToPath(import.meta.url))
let passed = 0
let failed = 0
function check(what, ok, why = '') {
  if (ok) passed++
  else {
    failed++
    console.log(`FAILED ${what}: ${why}`)
  }
}

// Rules of version 2 that the validator, which knows version 1, does not hold
// (https://datapackage.org/standard/data-package/ and below).
function version2(name, descriptor) {
  check(`${name}: $schema`, descriptor.$schema === 'https://datapackage.org/profiles/2.0/datapackage.json')
  const names = descriptor.resources.map(r => r.name)
  check(`${name}: unique names`, new Set(names).size === names.length && names.length > 0)
  for (const r of descriptor.resources) {
    const at = `${name}, ${r.name}`
    check(`${at}: path`, !/^[/.]|\.\.|\\|:/.test(r.path), r.path)
    check(`${at}: type`, r.type === 'table' && r.schema.$schema === 'https://datapackage.org/profiles/2.0/tableschema.json')
    const fields = r.schema.fields.map(f => f.name)
    check(`${at}: unique fields`, new Set(fields).size === fields.length && fields.length > 0)
    check(`${at}: types`, r.schema.fields.every(f => ['string', 'number', 'integer', 'boolean', 'date'].includes(f.type)))
    check(`${at}: categories`, r.schema.fields.every(f => !f.categories || (f.type === 'string' && new Set(f.categories).size === f.categories.length)))
    check(`${at}: keys`, (r.schema.primaryKey ?? []).every(k => fields.includes(k)) &&
      (r.schema.foreignKeys ?? []).every(k => k.fields.every(f => fields.includes(f)) && names.includes(k.reference.resource)))
  }
}

async function released() {
  const dir = join(results, 'release')
  const descriptor = JSON.parse(readFileSync(join(dir, 'datapackage.json'), 'utf8'))
  version2('release', descriptor)
  const tables = readdirSync(dir).filter(f => f.endsWith('.parquet')).map(f => f.replace('.parquet', '.csv')).sort()
  check('release: every table is described', JSON.stringify(tables) === JSON.stringify(descriptor.resources.map(r => r.path).sort()))
  const pack = await datapackage.Package.load(descriptor, { basePath: dir })
  check('release: version 1', pack.valid, pack.errors.join('; '))
  for (const r of descriptor.resources) {
    const bytes = readFileSync(join(dir, r.path))
    check(`release, ${r.name}: hash`, r.hash === 'sha256:' + createHash('sha256').update(bytes).digest('hex') && r.bytes === bytes.length)
    try {
      const rows = await pack.getResource(r.name).read()
      const lines = bytes.toString('utf8').split('\n').length - 2
      check(`release, ${r.name}: rows`, rows.length === lines, `${rows.length} rows, ${lines} lines`)
    } catch (e) {
      check(`release, ${r.name}: rows`, false, e.message + ' ' + (e.errors ?? []).slice(0, 3).join('; '))
    }
  }
}

const tables = {
  'subjects.csv': 'subject_id,sex\nS1,female\nS2,unknown\n',
  'visits.csv': 'subject_id,visit_id,age_years,treated\nS1,v1,40.5,no\nS2,v1,,\n',
  'cuff.csv': 'subject_id,visit_id,reading,sbp_mmhg,dbp_mmhg\nS1,v1,1,120,80\nS2,v1,1,131.5,79\n',
  'recordings.csv': 'recording_id,subject_id,visit_id,file,format,sampling_hz\nR1,S1,v1,w.csv,csv,128\nR2,S2,v1,w2.csv,csv,\n'
}

// A reader of version 1 knows no fieldsMatch: it gets the columns that are there.
async function template(dir) {
  const text = execFileSync(program, ['schema', '--format', 'frictionless', 'subjects', 'visits', 'cuff', 'recordings'])
  const whole = JSON.parse(execFileSync(program, ['schema', '--format', 'frictionless']))
  version2('all tables of a study', whole)
  const descriptor = JSON.parse(text)
  version2('study', descriptor)
  for (const [name, rows] of Object.entries(tables)) writeFileSync(join(dir, name), rows)
  const narrowed = structuredClone(descriptor)
  for (const r of narrowed.resources) {
    const header = tables[r.path].split('\n')[0].split(',')
    r.schema.fields = header.map(name => r.schema.fields.find(f => f.name === name))
    check(`study, ${r.name}: columns are declared`, r.schema.fields.every(Boolean))
  }
  const pack = await datapackage.Package.load(narrowed, { basePath: dir })
  check('study: version 1', pack.valid, pack.errors.join('; '))
  for (const r of narrowed.resources) {
    try {
      const rows = await pack.getResource(r.name).read({ relations: true })
      check(`study, ${r.name}: rows and keys`, rows.length === 2)
    } catch (e) {
      check(`study, ${r.name}: rows and keys`, false, e.message)
    }
  }
  // What the program refuses, the description must refuse.
  for (const [name, old, bad] of [['subjects.csv', 'female', 'woman'], ['cuff.csv', '131.5', '400'], ['visits.csv', '40.5', 'forty'], ['recordings.csv', 'R1,S1', 'R1,S9']]) {
    writeFileSync(join(dir, name), tables[name].replace(old, bad))
    const spoilt = await datapackage.Package.load(structuredClone(narrowed), { basePath: dir })
    let refused = false
    try {
      await spoilt.getResource(name.replace('.csv', '')).read({ relations: true })
    } catch {
      refused = true
    }
    check(`study: ${bad} in ${name} is refused`, refused)
    writeFileSync(join(dir, name), tables[name])
  }
}

function bids(dir) {
  const put = (name, text) => {
    mkdirSync(dirname(join(dir, name)), { recursive: true })
    writeFileSync(join(dir, name), text)
  }
  put('dataset_description.json', JSON.stringify({ Name: 'pulses', BIDSVersion: '1.8.0', License: 'CC0', Authors: ['nobody', 'no one'] }))
  put('README', 'Waves made for a test. '.repeat(10))
  put('participants.tsv', 'participant_id\tage\tsex\nsub-01\t40\tF\nsub-02\t61\tM\n')
  put('participants.json', JSON.stringify({ age: { Description: 'age', Units: 'year' }, sex: { Description: 'sex', Levels: { F: 'female', M: 'male' } } }))
  const wave = Array.from({ length: 2560 }, (_, i) => (100 + 20 * Math.sin(i / 20)).toFixed(3) + '\t0').join('\n') + '\n'
  for (const sub of ['sub-01', 'sub-02']) {
    for (const ses of ['ses-a', 'ses-b']) {
      const name = `${sub}/${ses}/beh/${sub}_${ses}_task-rest`
      put(`${name}_physio.tsv.gz`, gzipSync(wave))
      put(`${name}_physio.json`, JSON.stringify({ SamplingFrequency: 128, StartTime: 0, Columns: ['cardiac', 'trigger'], cardiac: { Units: 'mmHg' } }))
      put(`${name}_beh.tsv`, 'trial\tanswer\n1\t2\n')
      put(`${name}_beh.json`, JSON.stringify({ TaskName: 'rest' }))
    }
  }
  const validator = spawnSync('node', [join(here, 'node_modules/.bin/bids-validator'), dir, '--json'], { encoding: 'utf8', maxBuffer: 1 << 26 })
  let errors
  try {
    errors = JSON.parse(validator.stdout).issues.errors
  } catch {
    errors = [{ reason: validator.stdout.slice(0, 400) + validator.stderr.slice(0, 400) }]
  }
  check('BIDS: the validator passes the data set', errors.length === 0, errors.map(e => e.reason).join('; '))
  const study = join(dir, '..', 'study')
  const drafted = JSON.parse(execFileSync(program, ['init', study, '--from', 'bids', dir, '--json']))
  check('BIDS: the program drafts it', drafted.recordings === 4, JSON.stringify(drafted))
  check('BIDS: every recording can be read', !drafted.counts.structural && !drafted.counts.recording, JSON.stringify(drafted.counts))
}

const scratch = mkdtempSync(join(tmpdir(), 'tonocohort-validators-'))
try {
  await released()
  mkdirSync(join(scratch, 'tables'))
  await template(join(scratch, 'tables'))
  mkdirSync(join(scratch, 'bids'))
  bids(join(scratch, 'bids'))
} finally {
  rmSync(scratch, { recursive: true })
}
console.log(`${passed} passed, ${failed} failed`)
process.exit(failed === 0 && passed > 0 ? 0 : 1)
