// Reads every table of a results folder with three Parquet readers that share
// no code with ours or with each other, and compares all values with what the
// program exports as CSV.
//
//   node check.mjs RESULTS_DIR TONOCOHORT_BIN
//
// DuckDB (C++) has SQL semantics, hyparquet (JavaScript) is strict about the
// format, parquet-wasm (Rust) shows Arrow's field metadata. The last line is
// "N passed, N failed"; the exit status is 1 if a check failed.
import { execFileSync } from 'node:child_process'
import { mkdtempSync, readFileSync, readdirSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { basename, join } from 'node:path'
import { DuckDBInstance } from '@duckdb/node-api'
import { tableFromIPC } from 'apache-arrow'
import { parquetMetadata, parquetReadObjects } from 'hyparquet'
import { compressors } from 'hyparquet-compressors'
import { readParquet } from 'parquet-wasm/node'

const DICTIONARY = 'tonocohort'
const result = { passed: 0, failed: 0 }

function check(name, problem) {
  if (problem === undefined) {
    result.passed++
    return
  }
  result.failed++
  console.error(`FAILED ${name}: ${problem}`)
}

// parseCSV splits RFC 4180 text into rows of fields.
function parseCSV(text) {
  const rows = []
  let row = [], field = '', quoted = false
  for (let i = 0; i < text.length; i++) {
    const c = text[i]
    if (quoted) {
      if (c !== '"') field += c
      else if (text[i + 1] === '"') { field += '"'; i++ } else quoted = false
    } else if (c === '"') quoted = true
    else if (c === ',') { row.push(field); field = '' } else if (c === '\n') {
      row.push(field); field = ''; rows.push(row); row = []
    } else field += c
  }
  if (field !== '' || row.length > 0) throw new Error('the CSV text does not end with a line end')
  return rows
}

// same reports whether a value that a reader returned is the CSV field.
function same(kind, value, field) {
  if (value === null || value === undefined) return field === ''
  switch (kind) {
    case 'number': return field !== '' && Object.is(Number(value), Number(field))
    case 'integer': return field !== '' && BigInt(value) === BigInt(field)
    case 'boolean': return String(value) === field
    case 'date': return day(value) === field
    case 'wave': return sameWave(value, field)
    default: return value === field
  }
}

function day(value) {
  if (typeof value === 'number') value = new Date(value) // Arrow: milliseconds
  return value instanceof Date ? value.toISOString().slice(0, 10) : String(value)
}

function sameWave(value, field) {
  const samples = Array.from(value.items ?? value)
  const want = field === '' ? [] : field.split(' ')
  return samples.length === want.length && samples.every((v, i) =>
    v === null ? want[i] === 'NaN' : Object.is(Math.fround(v), Math.fround(Number(want[i]))))
}

// compare checks each column of one reader against the CSV rows.
function compare(reader, table, columns, csv, cell, rows) {
  check(`${table} by ${reader}: rows`, rows === csv.length - 1 ? undefined : `${rows}, the CSV has ${csv.length - 1}`)
  columns.forEach((c, i) => {
    let problem
    for (let r = 0; r < rows && problem === undefined; r++) {
      const value = cell(r, c.name)
      if (!same(c.kind, value, csv[r + 1]?.[i])) problem = `row ${r + 1}: ${value}, the CSV has ${csv[r + 1]?.[i]}`
    }
    check(`${table}.${c.name} by ${reader}`, problem)
  })
}

function arrayBuffer(bytes) {
  return bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength)
}

// dictionary reads our file-level key and checks what the format promises.
function dictionary(table, metadata) {
  const about = JSON.parse(metadata.key_value_metadata.find(kv => kv.key === DICTIONARY).value)
  const top = metadata.schema[0]
  check(`${table}: required root`, top.repetition_type === 'REQUIRED' ? undefined : String(top.repetition_type))
  check(`${table}: caution`, about.caution.includes('not a diagnosis') ? undefined : about.caution)
  check(`${table}: restricted`, typeof about.restricted === 'boolean' ? undefined : String(about.restricted))
  for (const c of about.columns) check(`${table}.${c.name}: meaning`, c.meaning ? undefined : 'none')
  return about.columns
}

async function byHyparquet(table, bytes, csv) {
  const file = arrayBuffer(bytes)
  const columns = dictionary(table, parquetMetadata(file))
  const names = columns.map(c => c.name).join()
  check(`${table}: column names`, names === csv[0].join() ? undefined : `${names}, the CSV has ${csv[0].join()}`)
  const rows = await parquetReadObjects({ file, compressors })
  compare('hyparquet', table, columns, csv, (r, name) => rows[r][name], rows.length)
  return columns
}

async function byDuckDB(db, table, path, columns, csv) {
  const from = `read_parquet('${path.replaceAll("'", "''")}')`
  const rows = (await db.runAndReadAll(`SELECT * FROM ${from}`)).getRowObjects()
  compare('DuckDB', table, columns, csv, (r, name) => rows[r][name], rows.length)
  for (const c of columns.filter(c => c.kind === 'number' || c.kind === 'wave')) {
    const id = `"${c.name.replaceAll('"', '""')}"`
    const values = c.kind === 'wave' ? `unnest(${id})` : id
    const odd = await db.runAndReadAll(
      `SELECT count(*) FROM (SELECT ${values} AS v FROM ${from}) WHERE isnan(v) OR isinf(v)`)
    const n = Number(odd.getRows()[0][0])
    check(`${table}.${c.name}: no NaN`, n === 0 ? undefined : `${n} values`)
  }
}

function byParquetWasm(table, bytes, columns, csv) {
  const arrow = tableFromIPC(readParquet(new Uint8Array(bytes)).intoIPCStream())
  const vectors = Object.fromEntries(columns.map(c => [c.name, arrow.getChild(c.name)]))
  compare('parquet-wasm', table, columns, csv, (r, name) => vectors[name].get(r), arrow.numRows)
  for (const c of columns) {
    const about = arrow.schema.fields.find(f => f.name === c.name)?.metadata
    check(`${table}.${c.name}: unit on the field`,
      (about?.get('unit') ?? '') === (c.unit ?? '') ? undefined : `${about?.get('unit')}, declared ${c.unit}`)
    check(`${table}.${c.name}: description on the field`,
      about?.get('description') === c.meaning ? undefined : `${about?.get('description')}`)
  }
}

// partitioned holds a table that was written as a data set of several files to the
// table itself: DuckDB reads it as one, the column that divides it from the names of
// the folders.
async function partitioned(db, results, program, table, key, by) {
  const folder = mkdtempSync(join(tmpdir(), 'dataset-'))
  try {
    const into = join(folder, 'data')
    execFileSync(program, ['export', results, table, '--partitioned', into, ...(by ? ['--by', by] : [])], { stdio: 'pipe' })
    const csv = parseCSV(execFileSync(program, ['export', results, table], { encoding: 'utf8', maxBuffer: 2 ** 30 }))
    const from = `read_parquet('${into.replaceAll("'", "''")}/*/*.parquet', hive_partitioning = true, hive_types_autocast = false)`
    const rows = (await db.runAndReadAll(`SELECT * FROM ${from}`)).getRowObjects()
    const name = `${table} as a data set${by ? ` by ${by}` : ''}`
    const folders = readdirSync(into)
    const values = by ? new Set(csv.slice(1).map(r => r[csv[0].indexOf(by)])).size : 1
    check(`${name}: folders`, folders.length === values ? undefined : folders.join(', '))
    const file = arrayBuffer(readFileSync(join(into, folders[0], `${table}.parquet`)))
    const columns = dictionary(name, parquetMetadata(file))
    if (by) columns.push({ name: by, kind: 'text' })
    check(`${name}: columns`, columns.map(c => c.name).sort().join() === [...csv[0]].sort().join() ? undefined : columns.map(c => c.name).join())
    const at = csv[0].indexOf(key)
    const sorted = csv.slice(1).sort((a, b) => (a[at] < b[at] ? -1 : 1))
    rows.sort((a, b) => (a[key] < b[key] ? -1 : 1))
    const ordered = [columns.map(c => c.name), ...sorted.map(r => columns.map(c => r[csv[0].indexOf(c.name)]))]
    compare('DuckDB', name, columns, ordered, (r, column) => rows[r][column], rows.length)
  } finally {
    rmSync(folder, { recursive: true })
  }
}

async function main() {
  const [results, program] = process.argv.slice(2)
  if (!program) throw new Error('usage: node check.mjs RESULTS_DIR TONOCOHORT_BIN')
  const db = await (await DuckDBInstance.create(':memory:')).connect()
  const folder = join(results, 'tables')
  const files = readdirSync(folder).filter(f => f.endsWith('.parquet')).sort()
  check('tables', files.length > 0 ? undefined : `none in ${folder}`)
  for (const file of files) {
    const table = basename(file, '.parquet'), path = join(folder, file)
    try {
      const csv = parseCSV(execFileSync(program, ['export', results, table], { encoding: 'utf8', maxBuffer: 2 ** 30 }))
      const bytes = readFileSync(path)
      const columns = await byHyparquet(table, bytes, csv)
      await byDuckDB(db, table, path, columns, csv)
      byParquetWasm(table, bytes, columns, csv)
    } catch (e) {
      check(table, e.stack ?? String(e))
    }
  }
  for (const by of ['', 'device_id', 'quality']) {
    try {
      await partitioned(db, results, program, 'recordings', 'recording_id', by)
    } catch (e) {
      check(`a data set by ${by}`, e.stack ?? String(e))
    }
  }
  db.closeSync()
}

await main().catch(e => check('readers', e.stack ?? String(e)))
console.log(`${result.passed} passed, ${result.failed} failed`)
process.exitCode = result.failed === 0 ? 0 : 1
