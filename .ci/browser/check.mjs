// Opens pages in a browser and holds them to what a reader needs:
//
//   node .ci/browser/check.mjs [--shots FOLDER] PAGE…
//
// A page is a file or a URL. For each: WCAG 2.2 A and AA by axe-core, wide and
// narrow; valid HTML by the Nu checker; no scrolling sideways at 320 px; the
// keyboard alone; contrast of figures computed, also without colour; print; no
// request beyond the page's own folder, no error on the console.
import { execFile } from 'node:child_process';
import { mkdir, mkdtemp, readFile, rm } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { basename, join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { promisify } from 'node:util';
import { chromium } from 'playwright-core';

const require = createRequire(import.meta.url);
const axeSource = await readFile(require.resolve('axe-core/axe.min.js'), 'utf8');
const vnu = join(resolve(require.resolve('vnu-jar/package.json'), '..'), 'build/dist/vnu.jar');
const run = promisify(execFile);

const args = process.argv.slice(2);
let shots = '';
if (args[0] === '--shots') {
  [, shots] = args.splice(0, 2);
  await mkdir(shots, { recursive: true });
}
if (args.length === 0) {
  console.error('usage: check.mjs [--shots FOLDER] PAGE…');
  process.exit(2);
}

const faults = [];
const fault = (page, rule, detail) => faults.push(`${page}: ${rule}: ${detail}`);

const profile = await mkdtemp(join(tmpdir(), 'tonocohort-browser-'));
const context = await chromium.launchPersistentContext(profile, {
  executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
  headless: true,
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
});
try {
  for (const name of args) await checkPage(name);
} finally {
  await context.close();
  await rm(profile, { recursive: true, force: true });
}
for (const f of faults) console.error(f);
console.log(`${args.length} pages, ${faults.length} faults`);
process.exit(faults.length === 0 ? 0 : 1);

async function checkPage(name) {
  const url = /^https?:/.test(name) ? name : pathToFileURL(resolve(name)).href;
  const page = await context.newPage();
  page.on('console', (m) => { if (m.type() === 'error') fault(name, 'console', m.text()); });
  page.on('pageerror', (e) => fault(name, 'error', e.message));
  page.on('request', (r) => {
    if (!r.url().startsWith(new URL('.', url).href) && !/^(data|blob):/.test(r.url())) fault(name, 'request', r.url());
  });
  const shot = async (kind) => { if (shots) await page.screenshot({ path: join(shots, `${basename(name)}.${kind}.png`), fullPage: true, timeout: 120_000 }); };

  await page.setViewportSize({ width: 1280, height: 900 });
  await page.goto(url);
  await keyboard(page, name, url);
  await shot('wide');
  await unfolded(page, name);
  await axe(page, name, 'at 1280 px');
  await contrast(page, name);
  await withoutColour(page, name, shot);

  await page.setViewportSize({ width: 320, height: 640 });
  await axe(page, name, 'at 320 px');
  const width = await page.evaluate(() => document.scrollingElement.scrollWidth);
  if (width > 320) {
    const what = await page.evaluate(() => [...document.querySelectorAll('body *')].filter((e) => e.getBoundingClientRect().right > 321 && ![...function* (n) { while ((n = n.parentElement)) yield n; }(e)].some((n) => /auto|scroll|hidden/.test(getComputedStyle(n).overflowX))).map((e) => `${e.tagName.toLowerCase()} ${e.textContent.trim().slice(0, 40)}`));
    fault(name, 'reflow', `${width} px wide at 320 px: ${what.slice(0, 3).join('; ')}`);
  }
  await shot('narrow');

  await print(page, name, shot);
  await page.close();
  if (url.startsWith('file:')) await valid(name);
}

async function axe(page, name, when) {
  await page.evaluate(axeSource);
  const found = await page.evaluate(() => window.axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] }));
  if (found.passes.length === 0) fault(name, 'axe', 'no rule was applied');
  for (const v of found.violations) {
    for (const n of v.nodes) fault(name, `axe ${when}: ${v.id}`, `${v.help}: ${n.target.join(' ')}`);
  }
}

// The keyboard alone: the first stop leads to the content, stops follow the order
// of reading, each can be seen, and what scrolls sideways can be scrolled.
async function keyboard(page, name, url) {
  const total = await page.evaluate(() => [...document.querySelectorAll('a[href], button, input, select, textarea, [tabindex="0"], summary')].filter((e) => e.checkVisibility() && !e.disabled).length);
  await page.keyboard.press('Tab'); // on a page just opened
  await page.keyboard.press('Enter');
  if (!await page.evaluate(() => document.querySelector('main')?.contains(document.activeElement))) fault(name, 'keyboard', 'the skip link does not lead to the content');
  await page.goto('about:blank');
  await page.goto(url);
  let last = -1;
  const seen = new Set();
  for (let i = 0; i < total; i++) {
    await page.keyboard.press('Tab');
    const stop = await page.evaluate(() => {
      const e = document.activeElement;
      const all = [...document.querySelectorAll('*')];
      const box = e.getBoundingClientRect();
      const style = getComputedStyle(e);
      return {
        at: all.indexOf(e), tag: e.tagName, text: (e.getAttribute('aria-label') ?? e.textContent).trim().slice(0, 40), href: e.getAttribute('href'),
        shown: box.width > 0 && box.bottom > 0 && box.right > 0 && box.top < innerHeight, outlined: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) > 0 || style.boxShadow !== 'none',
      };
    });
    if (stop.tag === 'BODY' || seen.has(stop.at)) break;
    seen.add(stop.at);
    if (i === 0 && !(stop.href ?? '').startsWith('#')) fault(name, 'keyboard', `the first stop is ${stop.tag} "${stop.text}", not a link to the content`);
    if (stop.at < last) fault(name, 'keyboard', `"${stop.text}" comes before what it follows on the page`);
    if (!stop.shown) fault(name, 'keyboard', `"${stop.text}" has the focus and cannot be seen`);
    if (!stop.outlined) fault(name, 'keyboard', `"${stop.text}" does not show its focus`);
    last = stop.at;
  }
  if (seen.size < total) fault(name, 'keyboard', `${seen.size} of ${total} stops can be reached`);
  const locked = await page.evaluate(() => [...document.querySelectorAll('body *')].filter((e) => e.scrollWidth > e.clientWidth + 1 && /auto|scroll/.test(getComputedStyle(e).overflowX) && e.tabIndex < 0).length);
  if (locked > 0) fault(name, 'keyboard', `${locked} places scroll sideways and cannot be reached by keyboard`);
}

// What is folded opens by keyboard, and what was hidden in it stays so without.
async function unfolded(page, name) {
  for (const fold of await page.$$('details:not([open])')) {
    const summary = await fold.$('summary');
    const hidden = await fold.evaluate((e) => [...e.children].slice(1).every((c) => !c.checkVisibility({ contentVisibilityAuto: true })));
    await summary.focus();
    await page.keyboard.press('Enter');
    if (!hidden || !await summary.evaluate((e) => e.parentElement.open)) fault(name, 'keyboard', `"${await summary.textContent()}" does not open by Enter`);
  }
}

// Contrast of what is drawn, on white: 4.5 of text, 3 of lines, markers and edges
// (WCAG 2.2, 1.4.3 and 1.4.11). What is marked as decoration is passed over.
async function contrast(page, name) {
  const weak = await page.evaluate(() => {
    const parse = (c) => (c.match(/[\d.]+/g) ?? []).map(Number);
    const luminance = (c) => parse(c).slice(0, 3).map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)).reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
    const ratio = (c) => 1.05 / (luminance(c) + 0.05);
    const out = new Set();
    for (const e of document.querySelectorAll('svg *')) {
      const style = getComputedStyle(e);
      if (e.tagName === 'text' && ratio(style.fill) < 4.5) out.add(`text ${style.fill} ${ratio(style.fill).toFixed(2)}`);
      if (e.closest('[data-decoration]') || e.tagName === 'text' || !e.getBBox) continue;
      if (style.stroke !== 'none' && ratio(style.stroke) < 3) out.add(`line ${style.stroke} ${ratio(style.stroke).toFixed(2)}`);
      if (style.stroke === 'none' && style.fill !== 'none' && ratio(style.fill) < 3) out.add(`area ${style.fill} ${ratio(style.fill).toFixed(2)}`);
    }
    return [...out];
  });
  for (const w of weak) fault(name, 'contrast', w);
}

// Without colour: the text keeps its contrast, and series keep their signs. The
// picture is for a person to look at.
async function withoutColour(page, name, shot) {
  const session = await page.context().newCDPSession(page);
  await session.send('Emulation.setEmulatedVisionDeficiency', { type: 'achromatopsia' });
  await axe(page, name, 'without colour');
  await shot('grey');
  await session.send('Emulation.setEmulatedVisionDeficiency', { type: 'none' });
  await session.detach();
}

// Print on A4 with margins of a centimetre: nothing is cut at the right, and what
// was folded on the screen is there.
async function print(page, name, shot) {
  await page.evaluate(() => { for (const d of document.querySelectorAll('details')) d.open = false; });
  await page.emulateMedia({ media: 'print' });
  await page.setViewportSize({ width: 718, height: 1000 });
  const cut = await page.evaluate(() => [...document.querySelectorAll('main *')].filter((e) => e.getBoundingClientRect().right > innerWidth + 1 && e.checkVisibility()).map((e) => `${e.tagName.toLowerCase()} ${(e.id || e.textContent).trim().slice(0, 40)}`));
  const folded = await page.evaluate(() => [...document.querySelectorAll('details > :not(summary)')].filter((e) => !e.checkVisibility({ contentVisibilityAuto: true }) || e.getBoundingClientRect().height === 0).map((e) => (e.id || e.textContent).trim().slice(0, 40)));
  for (const what of folded.slice(0, 5)) fault(name, 'print', `folded on paper: ${what}`);
  for (const what of cut.slice(0, 5)) fault(name, 'print', `cut at the right: ${what}`);
  await shot('print');
  await page.emulateMedia({ media: null });
}

async function valid(name) {
  const { stderr } = await run('java', ['-jar', vnu, '--exit-zero-always', '--format', 'json', resolve(name)], { maxBuffer: 64 << 20 });
  for (const m of JSON.parse(stderr).messages) {
    if (m.type === 'error') fault(name, 'html', `line ${m.lastLine}: ${m.message}`);
  }
}
