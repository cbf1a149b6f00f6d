// Writes the files of testdata/parquet: tables that programs other than ours
// wrote, for the tests of our reader. Row i of n rows is given by formulas
// that the tests repeat.
//
//   node foreign.mjs DIR
import { mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { DuckDBInstance } from '@duckdb/node-api'
import { Compression, WriterPropertiesBuilder, WriterVersion, readParquet, writeParquet } from 'parquet-wasm/node'

const [dir] = process.argv.slice(2)
mkdirSync(dir, { recursive: true })
const db = await (await DuckDBInstance.create(':memory:')).connect()
await db.run("SET TimeZone='UTC'")

// Every fifth row is null but for its number.
const rows = n => `
  SELECT i::INTEGER AS i, CASE WHEN i % 5 = 4 THEN NULL ELSE r END AS r FROM (
  SELECT i, {
    tiny: (i % 100)::UTINYINT, big: i::BIGINT * 1000000007 - 5, wide: i::UINTEGER + 4000000000,
    single: (i / 8)::FLOAT, double: i / 7.0::DOUBLE, price: (i * 0.25 - 3)::DECIMAL(9,2), long: (i * 3.125 - 9)::DECIMAL(30,3),
    yes: i % 3 = 0, text: 'S' || (i % 50), own: 'id-' || i, day: DATE '1999-12-30' + (i % 400)::INTEGER,
    moment: TIMESTAMP '2020-02-28 23:59:58.5' + to_seconds(i), utc: TIMESTAMPTZ '2020-02-28 23:59:58.5+00' + to_seconds(i),
    clock: TIME '10:00:00' + to_seconds(i % 3600), colour: (CASE WHEN i % 2 = 0 THEN 'red' ELSE 'blue' END)::ENUM('red', 'blue'),
    wave: list_transform(range(i % 7), k -> CASE WHEN k = 3 THEN NULL ELSE (i + k / 4)::FLOAT END),
    wave_double: list_transform(range(i % 3), k -> i + k / 4.0::DOUBLE)
  } AS r FROM range(${n}) t(i))`
const flat = n => `SELECT i, r.* FROM (${rows(n)}) ORDER BY i`

async function copy(name, query, options) {
  await db.run(`COPY (${query}) TO '${join(dir, name).replaceAll("'", "''")}' (FORMAT parquet, ${options})`)
}

await copy('duckdb_snappy.parquet', flat(2100), 'COMPRESSION snappy, ROW_GROUP_SIZE 2048')
await copy('duckdb_v2_zstd.parquet', flat(2100), 'COMPRESSION zstd, PARQUET_VERSION v2, DICTIONARY_SIZE_LIMIT 1')
await copy('duckdb_gzip.parquet', flat(300), 'COMPRESSION gzip')
await copy('duckdb_nested.parquet', 'SELECT 1 AS a, {x: 1, y: 2} AS pair', 'COMPRESSION uncompressed')

// The same rows through Rust's arrow-rs.
const plain = join(dir, 'plain.parquet')
await copy('plain.parquet', flat(100), 'COMPRESSION uncompressed')
const table = () => readParquet(new Uint8Array(readFileSync(plain)))
const save = (name, make) => writeFileSync(join(dir, name), writeParquet(table(), make(new WriterPropertiesBuilder()).build()))
save('arrow_rs_v1.parquet', b => b.setCompression(Compression.SNAPPY))
save('arrow_rs_v2_zstd.parquet', b => b.setWriterVersion(WriterVersion.V2).setCompression(Compression.ZSTD).setMaxRowGroupSize(40))
save('arrow_rs_v2_delta.parquet', b => b.setWriterVersion(WriterVersion.V2).setDictionaryEnabled(false))
rmSync(plain)
db.closeSync()
