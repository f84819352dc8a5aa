// The schema that Arrow keeps in a Parquet file, read by hand: a FlatBuffers
// message inside Arrow's IPC encapsulation. The layout is that of the Apache
// Arrow columnar format, sections "Encapsulated message format" and "Schema
// message", with the tables of Message.fbs and Schema.fbs; the numbers below
// are the tables' field indices there.

const message = { header: 2 }
const schema = { fields: 1 }
const fieldTable = { name: 0, nullable: 1, children: 5, customMetadata: 6 }
const keyValue = { key: 0, value: 1 }

/** A table of a FlatBuffers buffer. */
class Table {
  constructor(buffer, at) {
    this.buffer = buffer
    this.at = at
  }

  /** The offset of a field's data, or 0 when the field is absent. */
  offset(index) {
    const vtable = this.at - this.buffer.readInt32LE(this.at)
    const entry = 4 + 2 * index
    if (entry >= this.buffer.readUInt16LE(vtable)) return 0
    const relative = this.buffer.readUInt16LE(vtable + entry)
    return relative && this.at + relative
  }

  /** Where a field that is an offset leads to. */
  target(index) {
    const at = this.offset(index)
    return at && at + this.buffer.readUInt32LE(at)
  }

  table(index) {
    return new Table(this.buffer, this.target(index))
  }

  string(index) {
    const at = this.target(index)
    if (!at) return ''
    return this.buffer.toString('utf8', at + 4, at + 4 + this.buffer.readUInt32LE(at))
  }

  bool(index) {
    const at = this.offset(index)
    return at !== 0 && this.buffer[at] !== 0
  }

  tables(index) {
    const at = this.target(index)
    if (!at) return []
    return Array.from({ length: this.buffer.readUInt32LE(at) }, (_, i) => {
      const entry = at + 4 + 4 * i
      return new Table(this.buffer, entry + this.buffer.readUInt32LE(entry))
    })
  }
}

/** A field as {name, nullable, metadata: {key: value}, children: [field]}. */
function readField(table) {
  return {
    name: table.string(fieldTable.name),
    nullable: table.bool(fieldTable.nullable),
    metadata: Object.fromEntries(table.tables(fieldTable.customMetadata).map(kv => [kv.string(keyValue.key), kv.string(keyValue.value)])),
    children: table.tables(fieldTable.children).map(readField),
  }
}

/** The fields of an encapsulated schema message. */
export function readArrowSchema(bytes) {
  // The continuation mark 0xFFFFFFFF and the length stand before the message;
  // writers before Arrow 0.15 left the mark out.
  const start = bytes.readUInt32LE(0) === 0xffffffff ? 8 : 4
  const buffer = bytes.subarray(start)
  const root = new Table(buffer, buffer.readUInt32LE(0))
  return root.table(message.header).tables(schema.fields).map(readField)
}
