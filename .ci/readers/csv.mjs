// Prints a Parquet file as CSV, as DuckDB reads it:  node csv.mjs FILE.parquet
// Lists become their elements separated by blanks; what is missing is empty.
import { DuckDBInstance } from '@duckdb/node-api'

const file = process.argv[2]
if (!file) {
  console.error('usage: node csv.mjs FILE.parquet')
  process.exit(2)
}
const connection = await (await DuckDBInstance.create(':memory:')).connect()
const path = file.replaceAll("'", "''")
const columns = (await connection.runAndReadAll(`DESCRIBE SELECT * FROM read_parquet('${path}')`)).getRows()
const wanted = columns.map(([name, type]) => {
  const quoted = `"${name.replaceAll('"', '""')}"`
  return type.endsWith('[]') ? `array_to_string(${quoted}, ' ') AS ${quoted}` : quoted
})
await connection.run(`COPY (SELECT ${wanted.join(', ')} FROM read_parquet('${path}')) TO '/dev/stdout' (FORMAT csv, HEADER)`)
