// node page.mjs READERS CHROMIUM PAGE PDF [PICTURES]
//
// Opens a page in Chromium, driven by puppeteer-core as installed in the folder
// READERS, and tells as JSON what became of it: faults, requests, the values that
// it shows of the results, what sorting does, what is drawn, and what does not
// fit on paper. It prints the page to the file PDF, and into the folder PICTURES,
// if one is named, pictures for people to look at.

import { createRequire } from 'node:module'
import { join, resolve } from 'node:path'
import { pathToFileURL } from 'node:url'

const [readers, chromium, file, pdf, pictures] = process.argv.slice(2)
const at = createRequire(pathToFileURL(resolve(readers, 'package.json')))
const { default: puppeteer } = await import(pathToFileURL(at.resolve('puppeteer-core')))

// The width that A4 leaves between the margins of the style sheet, at the 96
// units an inch of CSS: 210 - 2·15 mm.
const paperWidth = Math.floor((180 / 25.4) * 96)

const browser = await puppeteer.launch({
  executablePath: chromium,
  args: ['--no-sandbox', '--disable-gpu', '--no-first-run', '--disable-background-networking',
    '--disable-component-update', '--disable-sync'],
})
const told = { faults: [], requests: [] }
try {
  const page = await browser.newPage()
  page.on('console', m => ['error', 'warn'].includes(m.type()) && told.faults.push(m.text()))
  page.on('pageerror', e => told.faults.push(`${e}`))
  page.on('request', r => told.requests.push(r.url()))
  await page.setViewport({ width: 1280, height: 850 })
  await page.goto(pathToFileURL(resolve(file)).href, { waitUntil: 'load' })

  // What the page shows of the results: each element with data-col.
  told.values = await page.$$eval('[data-col]', all => all.map(e => {
    const whose = e.closest('[data-rank]')
    return {
      text: e.textContent, of: e.dataset.of, column: e.dataset.col, row: Number(e.dataset.row ?? -1),
      point: Number(whose.dataset.point), rank: Number(whose.dataset.rank),
    }
  }))

  told.text = await page.$eval('body', e => e.textContent)
  told.headings = await page.$$eval('h1, h2, h3', all => all.map(e => e.tagName + ' ' + e.textContent))
  told.cautions = await page.$$eval('.cautions', all => all.map(e => e.textContent))

  // What does not tell what it is to those who do not see it.
  told.unnamed = await page.evaluate(() => {
    const out = []
    const ids = new Set()
    for (const e of document.querySelectorAll('[id]')) {
      if (ids.has(e.id)) out.push(`the id ${e.id} stands twice`)
      ids.add(e.id)
    }
    for (const th of document.querySelectorAll('th')) if (!th.scope) out.push(`th ${th.textContent}`)
    for (const table of document.querySelectorAll('table')) if (!table.caption) out.push('a table')
    for (const img of document.querySelectorAll('img')) if (!img.alt || !img.naturalWidth) out.push(`img ${img.alt}`)
    for (const svg of document.querySelectorAll('svg:not([aria-hidden])')) {
      const named = (svg.getAttribute('aria-labelledby') ?? '').split(' ').map(id => document.getElementById(id))
      if (named.length !== 2 || named.some(e => !e || !e.textContent.trim())) out.push(`svg ${svg.outerHTML.slice(0, 120)}`)
    }
    return out
  })

  // Every drawing: how large it is, how many shapes it has and how much of its
  // frame they cover, and whether something is no number.
  told.drawings = await page.$$eval('svg[role="img"]', all => all.map(svg => {
    const frame = svg.getBoundingClientRect()
    const shapes = [...svg.querySelectorAll('path, line, circle, rect')]
    const boxes = shapes.map(s => s.getBoundingClientRect())
    return {
      name: svg.querySelector('title').textContent, kind: svg.getAttribute('class'),
      width: frame.width, height: frame.height, shapes: shapes.length,
      texts: svg.querySelectorAll('text').length,
      covers: shapes.length ? (Math.max(...boxes.map(b => b.right)) - Math.min(...boxes.map(b => b.left))) / frame.width : 0,
      bad: /NaN|Infinity|undefined/.test(svg.outerHTML),
      rays: svg.querySelectorAll('.ray').length,
    }
  }))

  // What stands on the first screen: how far down each part of the best train ends.
  told.first = await page.$$eval('.best .train, .best dl.five, .best table', all =>
    all.map(e => e.getBoundingClientRect().bottom / innerHeight))

  // One press away: the cautions, whole.
  told.cautionsSeen = await page.evaluate(async () => {
    document.querySelector('.to-cautions')?.click()
    await new Promise(done => setTimeout(done, 50))
    const box = document.querySelector('.cautions').getBoundingClientRect()
    scrollTo(0, 0)
    return box.top > -1 && box.bottom <= innerHeight
  })

  // Names of keys and columns where words belong: in heads, tables and charts, but
  // for the column that names the key to edit.
  told.keys = await page.evaluate(() => {
    const out = []
    for (const e of document.querySelectorAll('h1, h2, h3, caption, th, td, dt, dd, svg text, p:not(.id)')) {
      const head = e.closest('table')?.tHead?.rows[0].cells[e.cellIndex]?.textContent
      if (e.tagName === 'TD' && head?.startsWith('key of the spec')) continue
      if (/[a-z]_[a-zA-Z]/.test(e.textContent)) out.push(`${e.tagName} ${e.textContent}`)
    }
    return out
  })
  // Words that have a name in files tell it when pointed at.
  told.tooltips = await page.$$eval('[title]', all => all.map(e => e.title))

  // Lines that run through a text of a drawing, and texts over each other.
  told.crossed = await page.$$eval('svg.train, svg.full-size', all => all.flatMap(svg => {
    const out = []
    const name = svg.querySelector('title').textContent
    const texts = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()])
    const lines = [...svg.querySelectorAll('.dimension, .cut, .scale')].map(l => l.getBoundingClientRect())
    texts.forEach(([a, p], i) => {
      for (const q of lines) {
        if (p.left < q.right - 1 && q.left < p.right - 1 && p.top < q.bottom - 1 && q.top < p.bottom - 1) out.push(`${name}: a line runs through ${a}`)
        // Of an upright line or a level one the box has no width or height.
        const upright = q.width < 2 && q.left > p.left + 1 && q.left < p.right - 1 && q.top < p.bottom - 1 && q.bottom > p.top + 1
        const level = q.height < 2 && q.top > p.top + 2 && q.top < p.bottom - 2 && q.left < p.right - 1 && q.right > p.left + 1
        if (upright || level) out.push(`${name}: a line runs through ${a}`)
      }
      for (const [b, q] of texts.slice(i + 1)) {
        if (p.left < q.right - 1 && q.left < p.right - 1 && p.top < q.bottom - 1.5 && q.top < p.bottom - 1.5) out.push(`${name}: ${a} over ${b}`)
      }
    })
    return out
  }))

  // Texts of a chart that lie over each other, on a mark or beyond its frame.
  told.clashes = await page.$$eval('svg.chart', all => all.flatMap(svg => {
    const out = []
    const frame = svg.getBoundingClientRect()
    const texts = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()])
    const marks = [...svg.querySelectorAll('.mark')].map(m => m.getBoundingClientRect())
    for (const t of svg.querySelectorAll('.point-name, .limit-name')) {
      const p = t.getBoundingClientRect()
      if (marks.some(q => p.left < q.right - 1 && q.left < p.right - 1 && p.top < q.bottom - 2 && q.top < p.bottom - 2)) {
        out.push(`${svg.querySelector('title').textContent}: ${t.textContent} on a mark`)
      }
    }
    texts.forEach(([a, p], i) => {
      if (p.left < frame.left - 2 || p.right > frame.right + 2 || p.top < frame.top - 2 || p.bottom > frame.bottom + 2) {
        out.push(`${svg.querySelector('title').textContent}: ${a} is cut`)
      }
      for (const [b, q] of texts.slice(i + 1)) {
        if (p.left < q.right - 1 && q.left < p.right - 1 && p.top < q.bottom - 1 && q.top < p.bottom - 1) {
          out.push(`${svg.querySelector('title').textContent}: ${a} over ${b}`)
        }
      }
    })
    return out
  }))

  // Contrast of text with the page behind it, light and dark (WCAG 2.1, 1.4.3).
  told.contrast = {}
  for (const scheme of ['light', 'dark']) {
    await page.emulateMediaFeatures([{ name: 'prefers-color-scheme', value: scheme }])
    told.contrast[scheme] = await page.evaluate(() => {
      const luminance = color => {
        const [r, g, b] = color.match(/[\d.]+/g).map(Number).map(v => v / 255)
          .map(v => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
        return 0.2126 * r + 0.7152 * g + 0.0722 * b
      }
      const paper = luminance(getComputedStyle(document.body).backgroundColor)
      let least = Infinity
      for (const e of document.querySelectorAll('body *')) {
        if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()) || e.closest('script, title, desc')) continue
        const style = getComputedStyle(e)
        const ink = luminance(e.closest('svg') ? style.fill : style.color)
        least = Math.min(least, (Math.max(ink, paper) + 0.05) / (Math.min(ink, paper) + 0.05))
      }
      return least
    })
    if (pictures) await page.screenshot({ path: join(pictures, `${scheme}.png`), fullPage: true })
  }
  await page.emulateMediaFeatures([])

  // A press on each head, twice: the column as it then reads.
  told.sorted = []
  const columns = await page.$$eval('table.sortable thead th', all => all.map(e => e.querySelector('button').textContent))
  for (let i = 0; i < columns.length; i++) {
    for (const press of [1, 2]) {
      await page.click(`table.sortable thead th:nth-child(${i + 1}) button`)
      told.sorted.push(await page.$eval('table.sortable', (table, i, press) => ({
        press, column: table.tHead.rows[0].cells[i].querySelector('button').textContent,
        says: table.tHead.rows[0].cells[i].getAttribute('aria-sort'),
        saying: table.tHead.querySelectorAll('[aria-sort]').length,
        texts: [...table.tBodies[0].rows].map(row => row.cells[i].textContent),
      }), i, press))
    }
  }
  await page.reload({ waitUntil: 'load' })

  // What is wider than the screen of a telephone, but for what scrolls by itself.
  await page.setViewport({ width: 420, height: 844 })
  told.narrow = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth)
  // The ranking, though, does not: what is wide in a row stands on a line below.
  told.stacked = await page.$$eval('.ranking .table', all => all.flatMap(div => [...div.querySelectorAll('tbody tr')].map(row => {
    const cells = [...row.cells]
    const long = cells.at(-1).getBoundingClientRect()
    return div.scrollWidth <= div.clientWidth && long.top > cells[0].getBoundingClientRect().bottom - 1 && long.width > 200
      && cells.every(c => c.getBoundingClientRect().right <= innerWidth && getComputedStyle(c, '::before').content.length > 2)
  })))
  if (pictures) await page.screenshot({ path: join(pictures, 'narrow.png') })

  // What sticks out of the paper.
  await page.emulateMediaType('print')
  await page.setViewport({ width: paperWidth, height: 1000 })
  told.beyondPaper = await page.evaluate(() => {
    const out = []
    for (const e of document.querySelectorAll('table, svg, img, p, dl, pre')) {
      const box = e.getBoundingClientRect()
      if (box.right > innerWidth + 0.5 || box.left < -0.5) out.push(`${e.tagName} ${(e.caption ?? e).textContent.slice(0, 60)}: to ${box.right} of ${innerWidth}`)
    }
    return out
  })
  // The numbers of each row, which stand on one line of the paper: cells that are
  // not broken, word by word.
  told.rows = await page.$$eval('table tbody tr', all => all.filter(row => row.getClientRects().length).map(row =>
    [...row.cells].filter(c => !c.classList.contains('l') && c.getClientRects().length && c.textContent.trim())
      .flatMap(c => c.textContent.trim().split(/\s+/))))
  told.sheetHeads = await page.$$eval('h1, h2, h3', all => all.filter(h => h.getClientRects().length).map(h => h.textContent.trim().split(/\s+/)))
  told.printed = await page.$$eval('.cautions', all => all.every(e => e.getBoundingClientRect().height > 20))
  await page.pdf({ path: pdf, format: 'A4', preferCSSPageSize: true, printBackground: false })
} finally {
  await browser.close()
}
process.stdout.write(JSON.stringify(told))
