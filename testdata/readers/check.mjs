// node check.mjs FOLDER EXPECT.json
//
// Reads the Parquet files of FOLDER with two independent readers, DuckDB (by
// SQL) and hyparquet (strict, from the file's own schema), and compares every
// value, type, unit and file key with EXPECT.json:
//
//   {"keys": {key: value}, "files": {NAME: {"columns": [...], "rows": [...]}}}
//
// NAME.parquet is the file; a column is {name, type, unit, nullable, element},
// element being the columns of a list's structs; a list of texts is of type texts. Numbers that JSON cannot hold
// (infinities, 64-bit integers) are text. Prints what fails and ends with
// "N passed, M failed"; the exit code is 0 when nothing failed.

import { readFile } from 'node:fs/promises'
import { join } from 'node:path'
import { DuckDBInstance } from '@duckdb/node-api'
import { asyncBufferFromFile, parquetMetadataAsync, parquetReadObjects, parquetSchema } from 'hyparquet'
import { compressors } from 'hyparquet-compressors'
import { readArrowSchema } from './arrowschema.mjs'

const [folder, expectPath] = process.argv.slice(2)
if (!folder || !expectPath) {
  console.error('usage: node check.mjs FOLDER EXPECT.json')
  process.exit(2)
}

let passed = 0
let failed = 0

/** Counts one check, and prints it when it failed; of many alike only the first ones. */
function check(ok, what) {
  if (ok) {
    passed++
  } else if (++failed <= 40) {
    console.log(`FAILED ${what()}`)
  }
}

const text = value => JSON.stringify(value, (_, v) =>
  typeof v === 'bigint' || v === Infinity || v === -Infinity || Object.is(v, -0) ? `${Object.is(v, -0) ? '-0' : v}` : v)

/** The JavaScript value that a correct reader gives for an expected one. */
function decode(value, column) {
  if (value === null) return null
  switch (column.type) {
    case 'double': return Number(value)
    case 'int64': return BigInt(value)
    default: return value
  }
}

function compare(found, expected, column, where) {
  if (column.type === 'list') {
    check(Array.isArray(found) && found.length === expected.length,
      () => `${where}: ${text(found)} is not a list of ${expected.length}`)
    expected.forEach((row, i) => compareRow(found?.[i] ?? {}, row, column.element, `${where}[${i}]`))
    return
  }
  if (column.type === 'texts') {
    // hyparquet gives undefined for a list that is null.
    check(expected === null ? (found ?? null) === null : Array.isArray(found) && found.length === expected.length && expected.every((s, i) => found[i] === s),
      () => `${where}: ${text(found)} is not ${text(expected)}`)
    return
  }
  const want = decode(expected, column)
  check(Object.is(found, want), () => `${where}: ${text(found)} is not ${text(want)}`)
}

function compareRow(found, expected, columns, where) {
  check(Object.keys(found).join() === columns.map(c => c.name).join(),
    () => `${where}: columns ${Object.keys(found)}`)
  for (const column of columns) {
    compare(found[column.name], expected[column.name], column, `${where}.${column.name}`)
  }
}

function compareRows(found, expected, where) {
  check(found.length === expected.rows.length, () => `${where}: ${found.length} rows, not ${expected.rows.length}`)
  expected.rows.forEach((row, i) => compareRow(found[i] ?? {}, row, expected.columns, `${where} row ${i}`))
}

// ---- hyparquet: values, the Parquet schema, and the Arrow schema with the units

const physical = { double: 'DOUBLE', int32: 'INT32', int64: 'INT64', string: 'BYTE_ARRAY', bool: 'BOOLEAN' }

function compareParquetSchema(nodes, columns, where) {
  check(nodes.map(n => n.element.name).join() === columns.map(c => c.name).join(),
    () => `${where}: columns ${nodes.map(n => n.element.name)}`)
  columns.forEach((column, i) => {
    const { element, children } = nodes[i] ?? { element: {}, children: [] }
    const at = `${where}.${column.name}`
    check(element.repetition_type === (column.nullable ? 'OPTIONAL' : 'REQUIRED'),
      () => `${at}: repetition ${element.repetition_type}`)
    if (column.type === 'texts') {
      const list = children[0]
      check(element.logical_type?.type === 'LIST' || element.converted_type === 'LIST', () => `${at}: not a list`)
      check(list?.element.repetition_type === 'REPEATED' && list.children[0]?.element.type === physical.string,
        () => `${at}: no texts are repeated in it`)
      return
    }
    if (column.type === 'list') {
      check(element.logical_type?.type === 'LIST' || element.converted_type === 'LIST', () => `${at}: not a list`)
      const list = children[0]
      check(list?.element.repetition_type === 'REPEATED', () => `${at}: its child is not repeated`)
      compareParquetSchema(list?.children[0]?.children ?? [], column.element, at)
      return
    }
    check(element.type === physical[column.type], () => `${at}: physical type ${element.type}`)
    if (column.type === 'string') {
      check(element.logical_type?.type === 'STRING' || element.converted_type === 'UTF8', () => `${at}: not text`)
    }
  })
}

function compareArrowFields(fields, columns, where) {
  check(fields.map(f => f.name).join() === columns.map(c => c.name).join(), () => `${where}: fields ${fields.map(f => f.name)}`)
  columns.forEach((column, i) => {
    const field = fields[i] ?? { metadata: {}, children: [] }
    const at = `${where}.${column.name}`
    check(field.metadata.unit === column.unit, () => `${at}: unit ${field.metadata.unit}, not ${column.unit}`)
    check(/\S/.test(field.metadata.description ?? '') && !/\n/.test(field.metadata.description),
      () => `${at}: description ${field.metadata.description}`)
    check(field.nullable === column.nullable, () => `${at}: nullable ${field.nullable}`)
    if (column.type === 'list' || column.type === 'texts') {
      const element = field.children[0]
      check(element?.metadata.unit === 'none' && Boolean(element?.metadata.description), () => `${at}: its element is not described`)
      compareArrowFields(element?.children ?? [], column.element ?? [], at)
    }
  })
}

async function checkByHyparquet(name, expected, keys) {
  const file = await asyncBufferFromFile(join(folder, `${name}.parquet`))
  const metadata = await parquetMetadataAsync(file)
  const where = `hyparquet ${name}`
  const tree = parquetSchema(metadata)
  // Parquet says of the root only that its repetition is not to be counted:
  // strict readers count it, and REQUIRED counts as nothing.
  check([undefined, 'REQUIRED'].includes(tree.element.repetition_type), () => `${where}: root is ${tree.element.repetition_type}`)
  compareParquetSchema(tree.children, expected.columns, where)
  check(Number(metadata.num_rows) === expected.rows.length, () => `${where}: ${metadata.num_rows} rows`)
  for (const group of metadata.row_groups) {
    check(Number(group.num_rows) <= 65536, () => `${where}: a row group of ${group.num_rows} rows`)
    check(group.columns.every(c => c.meta_data.codec === 'ZSTD'), () => `${where}: not compressed by zstd`)
  }
  const found = Object.fromEntries(metadata.key_value_metadata.map(({ key, value }) => [key, value]))
  for (const [key, value] of Object.entries(keys)) {
    check(found[key] === value, () => `${where}: file key ${key} is ${found[key]}`)
  }
  compareArrowFields(readArrowSchema(Buffer.from(found['ARROW:schema'] ?? '', 'base64')), expected.columns, where)
  compareRows(await parquetReadObjects({ file, metadata, compressors }), expected, where)
}

// ---- DuckDB: values, types, and questions as analysis scripts ask them

const sqlType = { double: 'DOUBLE', int32: 'INTEGER', int64: 'BIGINT', string: 'VARCHAR', bool: 'BOOLEAN' }

function sqlTypeOf(column) {
  if (column.type === 'texts') return `${sqlType.string}[]`
  if (column.type !== 'list') return sqlType[column.type]
  const quoted = c => /^[a-z0-9_]+$/.test(c.name) && !['group', 'position'].includes(c.name) ? c.name : `"${c.name}"`
  return `STRUCT(${column.element.map(c => `${quoted(c)} ${sqlTypeOf(c)}`).join(', ')})[]`
}

async function query(connection, sql) {
  return (await connection.runAndReadAll(sql)).getRowObjectsJS()
}

async function checkByDuckDB(connection, name, expected, keys) {
  const path = join(folder, `${name}.parquet`).replaceAll("'", "''")
  const where = `DuckDB ${name}`
  const bare = type => type.replaceAll('"', '')
  const types = await query(connection, `DESCRIBE SELECT * FROM '${path}'`)
  check(types.map(c => `${c.column_name} ${bare(c.column_type)}`).join('\n') === expected.columns.map(c => `${c.name} ${bare(sqlTypeOf(c))}`).join('\n'),
    () => `${where}: types ${types.map(c => `${c.column_name} ${c.column_type}`)}`)
  compareRows(await query(connection, `SELECT * FROM '${path}'`), expected, where)

  const stored = await query(connection, `SELECT decode(key) AS key, decode(value) AS value FROM parquet_kv_metadata('${path}')`)
  for (const [key, value] of Object.entries(keys)) {
    check(stored.some(s => s.key === key && s.value === value), () => `${where}: file key ${key}`)
  }

  // Filters are pushed down to the row groups' statistics: counts by SQL and
  // by hand have to agree for each bound of each number, and for nulls.
  for (const column of expected.columns) {
    if (column.type !== 'double') continue
    const values = expected.rows.map(r => decode(r[column.name], column))
    const quoted = `"${column.name}"`
    const asked = [
      ['IS NULL', v => v === null],
      ["= 'inf'::DOUBLE", v => v === Infinity],
      ['> 50', v => v !== null && v > 50],
      ['<= 0', v => v !== null && v <= 0],
    ]
    const counts = await query(connection,
      `SELECT ${asked.map(([, ], i) => `(SELECT count(*) FROM '${path}' WHERE ${quoted} ${asked[i][0]}) AS q${i}`)}`)
    asked.forEach(([condition, holds], i) => {
      const want = values.filter(holds).length
      check(Number(counts[0][`q${i}`]) === want, () => `${where}: ${quoted} ${condition}: ${counts[0][`q${i}`]} rows, not ${want}`)
    })
  }

  // What a list of texts contains; a list that is null contains nothing.
  for (const column of expected.columns) {
    if (column.type !== 'texts') continue
    for (const one of new Set(expected.rows.flatMap(r => r[column.name] ?? []))) {
      const want = expected.rows.filter(r => r[column.name]?.includes(one)).length
      const counts = await query(connection, `SELECT count(*) AS n FROM '${path}' WHERE list_contains("${column.name}", '${one}')`)
      check(Number(counts[0].n) === want, () => `${where}: "${column.name}" contains ${one}: ${counts[0].n} rows, not ${want}`)
    }
  }

  // Nested columns, unnested.
  for (const column of expected.columns) {
    if (column.type !== 'list') continue
    const found = await query(connection,
      `SELECT point, rank, e.* FROM (SELECT point, rank, unnest("${column.name}") AS e FROM '${path}')`)
    const want = expected.rows.flatMap(r => r[column.name].map(e => ({ point: r.point, rank: r.rank, ...e })))
    const head = expected.columns.filter(c => c.name === 'point' || c.name === 'rank')
    compareRows(found, { columns: [...head, ...column.element], rows: want }, `${where} ${column.name} unnested`)
  }
}

const { keys, files } = JSON.parse(await readFile(expectPath, 'utf8'))
const connection = await (await DuckDBInstance.create(':memory:')).connect()
// Rows in the file's order, whatever the number of threads.
await connection.run('SET preserve_insertion_order = true')
for (const [name, expected] of Object.entries(files)) {
  for (const [reader, run] of [
    ['hyparquet', () => checkByHyparquet(name, expected, keys)],
    ['DuckDB', () => checkByDuckDB(connection, name, expected, keys)],
  ]) {
    try {
      await run()
    } catch (error) {
      check(false, () => `${reader} ${name}: ${error.stack ?? error}`)
    }
  }
}
connection.closeSync()
console.log(`${passed} passed, ${failed} failed`)
process.exitCode = failed === 0 ? 0 : 1
