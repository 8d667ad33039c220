// Reads every Parquet file of a release with two readers that share no code with
// the one that wrote it, and writes the cells as text: one file a table and
// reader, one line a row, cells parted by U+001F, an empty cell for null.
//
// node read_release.mjs MODULES RELEASE OUT TABLE...
import { createRequire } from 'node:module'
import { writeFileSync } from 'node:fs'
import { join, resolve } from 'node:path'
import { pathToFileURL } from 'node:url'

const [modules, release, out, ...tables] = process.argv.slice(2)
const require = createRequire(pathToFileURL(resolve(modules, 'node_modules', 'x.js')))
const { DuckDBInstance } = require('@duckdb/node-api')
const hyparquet = await import(pathToFileURL(join(resolve(modules), 'node_modules/hyparquet/src/node.js')))

const cell = v => v === null || v === undefined ? '' : String(v)
const lines = rows => rows.map(r => r.map(cell).join('\x1f') + '\n').join('')

const db = await (await DuckDBInstance.create(':memory:')).connect()
for (const table of tables) {
  const path = resolve(release, 'data', table + '.parquet')
  const file = await hyparquet.asyncBufferFromFile(path)
  const rows = await hyparquet.parquetReadObjects({ file })
  const names = hyparquet.parquetSchema(await hyparquet.parquetMetadataAsync(file)).children.map(c => c.element.name)
  writeFileSync(join(out, table + '.hyparquet.txt'), lines([names, ...rows.map(r => names.map(n => r[n]))]))
  const result = await db.runAndReadAll(`SELECT * FROM read_parquet('${path.replaceAll("'", "''")}', file_row_number = true) ORDER BY file_row_number`)
  const width = result.columnNames().length - 1
  writeFileSync(join(out, table + '.duckdb.txt'), lines([result.columnNames().slice(0, width), ...result.getRows().map(r => r.slice(0, width))]))
}
