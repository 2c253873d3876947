// Looks at an unpacked bundle with readers that are not ours: node check.mjs FOLDER, where FOLDER holds bagit.txt and data.
//
// datapackage.json must be valid and tell the right length and SHA-256 of every file of the payload but itself. Each CSV table must
// fit its schema and name only rows of other tables that are there. Each Parquet table must hold, in every column and row, what
// the CSV of the same name holds.
import { createHash } from 'node:crypto'
import { readdir, readFile } from 'node:fs/promises'
import { createRequire } from 'node:module'
import path from 'node:path'

const require = createRequire(path.join(process.cwd(), 'package.json'))
const { Package, validate } = require('datapackage')
const { parquetMetadata, parquetReadObjects, parquetSchema } = await import(require.resolve('hyparquet'))
const { decompress } = require('fzstd')

const data = path.join(process.argv[2], 'data')
const faults = []
const fault = (text) => faults.push(text)

const descriptor = path.join(data, 'datapackage.json')
const { valid, errors } = await validate(descriptor)
if (!valid) {
  console.error(`datapackage.json is not valid: ${errors.map((e) => e.message).join('; ')}`)
  process.exit(1)
}
const pkg = await Package.load(descriptor)

const names = (await readdir(data, { recursive: true, withFileTypes: true }))
  .filter((f) => f.isFile())
  .map((f) => path.relative(data, path.join(f.parentPath ?? f.path, f.name)))
  .sort()
const described = new Map(pkg.descriptor.resources.map((r) => [r.path, r]))
for (const name of names) {
  if (name === 'datapackage.json') continue
  const resource = described.get(name)
  if (!resource) {
    fault(`${name} is not described`)
    continue
  }
  const bytes = await readFile(path.join(data, name))
  if (resource.bytes !== bytes.length) fault(`${name} has ${bytes.length} bytes, described are ${resource.bytes}`)
  const hash = 'sha256:' + createHash('sha256').update(bytes).digest('hex')
  if (resource.hash !== hash) fault(`${name} has ${hash}, described is ${resource.hash}`)
}
for (const name of described.keys()) {
  if (!names.includes(name)) fault(`${name} is described and not there`)
}

// The CSV's reader casts by the schema, so values can be compared. An empty text is a missing value there.
const text = (v) => (v === null || v === undefined ? '' : (v.toISOString?.() ?? String(v)))

let tables = 0
let rows = 0
for (const resource of pkg.resources) {
  if (!resource.tabular || !resource.name.endsWith('.csv')) continue
  let csv
  try {
    csv = await resource.read({ keyed: true })
    await resource.checkRelations()
  } catch (e) {
    fault(`${resource.descriptor.path} does not fit its schema: ${[e, ...(e.errors ?? [])].map((x) => x.message).slice(0, 3).join('; ')}`)
    continue
  }
  const name = resource.descriptor.path.replace(/\.csv$/, '.parquet')
  if (!names.includes(name)) continue
  const raw = await readFile(path.join(data, name))
  const file = raw.buffer.slice(raw.byteOffset, raw.byteOffset + raw.length)
  const columns = parquetSchema(parquetMetadata(file)).children.map((c) => c.element.name)
  const header = resource.schema.fieldNames
  if (columns.join() !== header.join()) fault(`${name} has the columns ${columns}, the CSV beside it ${header}`)
  const parquet = await parquetReadObjects({ file, compressors: { ZSTD: (input) => decompress(input) } })
  if (parquet.length !== csv.length) fault(`${name} has ${parquet.length} rows, the CSV beside it ${csv.length}`)
  const other = csv.findIndex((row, i) => header.some((h) => text(row[h]) !== text(parquet[i]?.[h])))
  if (other >= 0) {
    const where = header.find((h) => text(csv[other][h]) !== text(parquet[other]?.[h]))
    fault(`${name} has another ${where} in row ${other + 1}: ${text(parquet[other]?.[where])}, the CSV beside it ${text(csv[other][where])}`)
  }
  tables++
  rows += csv.length
}
const lonely = names.filter((n) => n.endsWith('.parquet') && !names.includes(n.replace(/parquet$/, 'csv')))
for (const name of lonely) fault(`${name} has no CSV beside it`)

for (const f of faults) console.error(f)
if (faults.length > 0) process.exit(1)
console.log(`valid; ${names.length} files, ${tables} tables with ${rows} rows, in Parquet and CSV alike`)
