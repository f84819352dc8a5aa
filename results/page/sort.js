'use strict'
// A press on the head of a column sorts the table's rows by it, a second one the
// other way round. Numbers sort as numbers, and what does not exist comes last.
const numberOf = text => text === 'inf' ? Infinity : text === '-inf' ? -Infinity : Number(text)

for (const table of document.querySelectorAll('table.sortable')) {
  const heads = [...table.tHead.rows[0].cells]
  heads.forEach((head, column) => {
    head.querySelector('button').addEventListener('click', () => {
      const down = head.getAttribute('aria-sort') === 'ascending'
      for (const h of heads) h.removeAttribute('aria-sort')
      head.setAttribute('aria-sort', down ? 'descending' : 'ascending')
      const textOf = row => row.cells[column].textContent
      const rows = [...table.tBodies[0].rows]
      const there = rows.filter(row => textOf(row) !== '-')
      const missing = rows.filter(row => textOf(row) === '-')
      const numeric = there.every(row => !Number.isNaN(numberOf(textOf(row))))
      there.sort((a, b) => {
        const [x, y] = [textOf(a), textOf(b)]
        const order = numeric ? (numberOf(x) > numberOf(y)) - (numberOf(x) < numberOf(y)) : (x > y) - (x < y)
        return down ? -order : order
      })
      table.tBodies[0].append(...there, ...missing)
    })
  })
}
