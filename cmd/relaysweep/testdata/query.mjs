// node query.mjs READERS < QUERY.sql
//
// Asks DuckDB, as installed in the folder READERS, one SQL query and prints the
// answer as lines of cells with a bar between them, the names first. Infinities
// and nulls are written as in SQL.

import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { resolve } from 'node:path'
import { pathToFileURL } from 'node:url'

const at = createRequire(pathToFileURL(resolve(process.argv[2], 'package.json')))
const { DuckDBInstance } = await import(pathToFileURL(at.resolve('@duckdb/node-api')))

const connection = await (await DuckDBInstance.create(':memory:')).connect()
const answer = await connection.runAndReadAll(readFileSync(0, 'utf8'))
console.log(answer.columnNames().join(' | '))
for (const row of answer.getRowsJS()) {
  console.log(row.map(cell => cell === null ? 'NULL' : `${cell}`).join(' | '))
}
connection.closeSync()
