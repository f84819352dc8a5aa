// go test -json ./... | node .ci/report.mjs
//
// Prints a line for each package as it ends, everything that a test printed which
// failed, and last how many tests ran: "N passed, M failed, K skipped". The exit
// code is 1 when anything failed or no test ran.

import { createInterface } from 'node:readline'

const counts = { pass: 0, fail: 0, skip: 0 }
const printed = new Map()
let broken = false

for await (const line of createInterface({ input: process.stdin })) {
  let event
  try {
    event = JSON.parse(line)
  } catch {
    console.log(line)
    continue
  }
  const of = event.Package ?? event.ImportPath
  const key = `${of} ${event.Test ?? ''}`
  if (event.Output !== undefined) {
    printed.set(key, (printed.get(key) ?? '') + event.Output)
    if (event.Action === 'build-output') process.stdout.write(event.Output)
  } else if (event.Test && event.Action in counts) {
    counts[event.Action]++
    if (event.Action === 'fail') process.stdout.write(printed.get(key) ?? '')
    printed.delete(key)
  } else if (event.Action === 'fail' || event.Action === 'build-fail') {
    broken = true
    process.stdout.write(printed.get(key) ?? '')
    // A test that a panic or the time limit ended says nothing of its own end.
    for (const [other, text] of printed) {
      if (other !== key && other.startsWith(`${of} `)) process.stdout.write(text)
    }
  } else if (event.Action === 'pass') {
    console.log(`ok  ${of}  ${event.Elapsed} s`)
  }
}
console.log(`${counts.pass} passed, ${counts.fail} failed, ${counts.skip} skipped`)
process.exitCode = broken || counts.fail > 0 || counts.pass === 0 ? 1 : 0
