// The review page as a person uses it: find the flagged entry, look, decide, see the plan change, undo, reload, print.
import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { chromium } from 'playwright-core';

const [program, job, executablePath] = process.argv.slice(2);
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

function serve(port = 0) {
  return new Promise((done, failed) => {
    const server = spawn(program, ['review', job, '--port', String(port)], { stdio: ['ignore', 'pipe', 'inherit'], env: { ...process.env, USER: 'tester' } });
    let text = '';
    server.stdout.on('data', (data) => { text += data; if (text.includes('\n')) done({ server, address: text.trim().split('\n')[0] }); });
    server.on('exit', (code) => failed(new Error(`the server ended: ${code}`)));
  });
}
process.on('exit', () => served?.server.kill('SIGKILL'));
const end = ({ server }) => new Promise((done) => { server.removeAllListeners('exit'); server.on('exit', done); server.kill('SIGTERM'); });

let steps = 0;
let served;
async function step(what, fn) {
  const begun = Date.now();
  await fn();
  steps++;
  console.log(`ok ${steps} ${what} (${Date.now() - begun} ms)`);
}

served = await serve();
const origin = new URL(served.address).origin;
const browser = await chromium.launch({ executablePath, args: ['--no-sandbox', '--disable-dev-shm-usage'] });
const context = await browser.newContext({ viewport: { width: 1400, height: 950 }, acceptDownloads: true });
const outside = [], troubles = [];
context.on('request', (request) => { if (!request.url().startsWith(origin) && !/^(data|blob):/.test(request.url())) outside.push(request.url()); });

async function open(path = served.address) {
  const page = await context.newPage();
  page.on('pageerror', (error) => troubles.push(error.message));
  page.on('console', (message) => { if (message.type() === 'error' && !/net::ERR_|401|404|422/.test(message.text())) troubles.push(message.text()); });
  await page.goto(path);
  return page;
}
// Not the driver's own waiting: that evaluates text on the page, which the page's policy forbids.
async function until(page, fn, arg) {
  for (let i = 0; i < 150; i++) { if (await page.evaluate(fn, arg).catch(() => false)) return; await new Promise((done) => setTimeout(done, 100)); }
  assert.fail(`never came true: ${fn}; ${await page.evaluate(() => JSON.stringify({ at: window.review.film.at, shown: window.review.film.shown, isPlaying: window.review.film.isPlaying, trouble: document.querySelector('#trouble').textContent, focus: document.activeElement.id })).catch(String)}`);
}
const ready = (page) => until(page, () => window.review?.state && document.querySelector('#canvas').dataset.frame);
const liners = (page) => page.locator('#plan-body tbody tr').count();
const asks = (page) => page.locator('#asks button').count();
const frame = (page) => page.evaluate(() => window.review.film.shown);
const becomes = async (read, wanted, what) => {
  for (let i = 0; i < 80; i++) { if ((await read()) === wanted) return; await new Promise((done) => setTimeout(done, 100)); }
  assert.equal(await read(), wanted, what);
};
const fold = async (page, name) => { const node = page.locator(`[data-fold="${name}"]`); if (!(await node.evaluate((n) => n.open))) await node.locator('summary').click(); return node; };
const shot = async (page, name) => { await page.bringToFront(); await page.screenshot({ path: `shots/${name}.png`, fullPage: true }); };
async function accessible(page, name) {
  await page.evaluate(axe);
  const { violations } = await page.evaluate(() => window.axe.run(document, { resultTypes: ['violations'] }));
  const bad = violations.filter((v) => ['serious', 'critical'].includes(v.impact)).map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.target.join(' ')).join(', ')}`);
  assert.deepEqual(bad, [], `accessibility of ${name}`);
}
const fits = (page) => page.evaluate(() => document.documentElement.scrollWidth <= document.documentElement.clientWidth + 1);

const page = await open();
await step('the flagged entry stands first, its picture is shown', async () => {
  await ready(page);
  assert.equal(new URL(page.url()).pathname, '/', 'the token is gone from the address');
  assert.match(await page.locator('#asks button').first().textContent(), /O8 BAC.*Log and picture differ/);
  assert.match(await page.locator('#caption').textContent(), /counter 20\.71/);
  const shades = await page.evaluate(() => { const c = document.querySelector('#canvas'); return new Set(c.getContext('2d').getImageData(0, 0, c.width, c.height).data).size; });
  assert.ok(shades > 40, 'a real picture');
  assert.equal(await liners(page), 4);
  await shot(page, 'flagged');
});
await step('every frame, back and forth, by keys', async () => {
  const at = await frame(page);
  await page.keyboard.press('ArrowRight');
  await becomes(() => frame(page), at + 1);
  await page.keyboard.press('Shift+ArrowLeft');
  await becomes(() => frame(page), at - 9);
  await page.keyboard.press('s');
  await page.keyboard.press('g');
  await page.keyboard.type('12');
  await page.keyboard.press('Enter');
  await until(page, () => /1[12]\.\d\d m along/.test(document.querySelector('#caption').textContent));
  await page.locator('#play').focus();
  const from = await page.evaluate(() => window.review.film.at);
  await becomes(() => frame(page), from);
  await page.keyboard.press('Enter');
  await until(page, (n) => window.review.film.shown > n + 10, from);
  await page.keyboard.press('Enter');
  assert.equal(await page.evaluate(() => window.review.film.isPlaying), false);
});
const other = await open(`${origin}/`);
await step('the picture counts: one thing less to settle', async () => {
  await ready(other);
  await page.bringToFront();
  await page.fill('#who', 'Ada');
  await page.locator('#who').blur();
  await page.keyboard.press('n');
  const before = await asks(page);
  await page.keyboard.press('1');
  await becomes(() => asks(page), before - 1);
  await becomes(() => asks(other), before - 1, 'the other window is in step');
  assert.match(await page.locator('#past li').first().textContent(), /O8: the picture's distance counts.*Ada/);
});
await step('another treatment: the plan changes and says how, in both windows', async () => {
  const node = await fold(page, 'treat');
  await node.locator('select').selectOption('prepare');
  await node.getByRole('button').click();
  await page.locator('[data-fold="treat"] .wrong:not(:empty)').waitFor(); // a reason is asked for
  await node.locator('[name=reason]').fill('edges are firm <b>&</b>');
  await node.getByRole('button').click();
  await becomes(() => liners(page), 5);
  await becomes(() => liners(other), 5);
  await other.close();
  assert.match(await page.locator('#change').textContent(), /4 → 5/);
  assert.equal(await page.locator('#past b').count(), 0, 'text stays text');
  await shot(page, 'decided');
});
await step('undo, redo, reload', async () => {
  await page.locator('#undo').click();
  await becomes(() => liners(page), 4);
  await page.locator('h1').click();
  await page.keyboard.press('Shift+Z');
  await becomes(() => liners(page), 5);
  await page.reload();
  await ready(page);
  assert.equal(await liners(page), 5);
});
await step('an extent moved on the pipe with the keys', async () => {
  await page.locator('#pins [data-id="O6"] .halo').click();
  const grip = page.locator('[data-key="grip-end"]');
  await grip.focus();
  for (let i = 0; i < 5; i++) await page.keyboard.press('Shift+ArrowRight');
  await page.keyboard.press('Enter');
  await until(page, () => Math.abs(window.review.state.observations.find((o) => o.id === 'O6').end_m - 16.096) < 0.01);
});
await step('one added at this frame, a reading corrected, both taken back', async () => {
  await page.keyboard.press('a');
  const node = await fold(page, 'add');
  await node.locator('[name=code]').fill('bab');
  await node.locator('[name=ch1]').fill('C');
  await node.getByRole('button').click();
  await until(page, () => window.review.state.observations.length === 11);
  const reading = await fold(page, 'reading');
  await reading.locator('input').fill('14.60');
  await reading.getByRole('button').click();
  await until(page, () => window.review.state.decisions.at(-1).act === 'reading');
  await page.locator('#undo').click();
  await until(page, () => window.review.state.decisions.at(-1).act === 'undo');
  await page.locator('#undo').click();
  await until(page, () => window.review.state.observations.length === 10);
});
const last = (wanted) => until(page, (act) => window.review.state.decisions.at(-1).act === act, wanted);
await step('code, clock, a tie placed and taken away, one withdrawn and brought back', async () => {
  await page.locator('#pins [data-id="O6"] .halo').click();
  const of = (id) => page.evaluate((one) => window.review.state.observations.find((o) => o.id === one), id);
  const code = await fold(page, 'code');
  await code.locator('[name=q1]').fill('4');
  await code.getByRole('button').click();
  await last('code');
  assert.equal((await of('O6')).q1, '4');
  const clock = await fold(page, 'clock');
  await clock.locator('[name=clock_from]').selectOption('9');
  await clock.locator('[name=clock_to]').selectOption('11');
  await clock.getByRole('button').click();
  await last('clock');
  assert.deepEqual([(await of('O6')).clock_from, (await of('O6')).clock_to], [9, 11]);
  const places = () => page.evaluate(() => window.review.state.observations.map((o) => o.distance_m));
  const was = await places(), ties = await page.evaluate(() => window.review.state.ties.length);
  const tie = await fold(page, 'tie');
  await tie.locator('[name=reading]').fill('13.00');
  await tie.locator('[name=distance]').fill('13.30');
  await tie.getByRole('button', { name: 'Place tie' }).click();
  await until(page, (n) => window.review.state.ties.length === n + 1, ties);
  assert.notDeepEqual(await places(), was, 'a tie moves what lies near it');
  await page.getByRole('button', { name: 'Take away the tie at 13' }).click();
  await until(page, (n) => window.review.state.ties.length === n, ties);
  assert.deepEqual(await places(), was);
  const withdraw = await fold(page, 'withdraw');
  await withdraw.locator('[name=reason]').fill('a shadow');
  await withdraw.getByRole('button').click();
  await last('withdraw');
  await until(page, () => !document.querySelector('#pins [data-id="O6"]'));
  assert.match((await of('O6')).reason, /^withdrawn.*a shadow/);
  await page.locator('#undo').click();
  await until(page, () => document.querySelector('#pins [data-id="O6"]'));
});
await step('the counter’s box drawn by hand: read again there', async () => {
  const before = await page.evaluate(() => ({ box: window.review.state.counter.box, at: window.review.state.observations.find((o) => o.id === 'O4').distance_m, n: window.review.state.decisions.length }));
  await page.locator('h1').click();
  const node = await fold(page, 'box');
  await page.locator('#canvas').scrollIntoViewIfNeeded();
  const place = await page.evaluate(() => { const c = document.querySelector('#canvas'), r = c.getBoundingClientRect(), s = Math.min(r.width / c.width, r.height / c.height), a = window.review.state.video.pixel_aspect || 1; return { x: r.left + (r.width - c.width * s) / 2, y: r.top + (r.height - c.height * s) / 2, sx: s * a, sy: s }; });
  const [x, y, w, h] = before.box, margin = 3;
  await page.mouse.move(place.x + (x - margin) * place.sx, place.y + (y - margin) * place.sy);
  await page.mouse.down();
  await page.mouse.move(place.x + (x + w + margin) * place.sx, place.y + (y + h + margin) * place.sy, { steps: 5 });
  await page.mouse.up();
  const drawn = (await node.locator('[name=box]').inputValue()).split(',').map(Number);
  before.box.forEach((value, i) => assert.ok(Math.abs(drawn[i] - value) <= 8, `drawn ${drawn}, asked near ${before.box}`));
  await shot(page, 'box');
  await node.getByRole('button').click();
  await until(page, () => window.review.state.is_reading);
  for (let i = 0; i < 6 && (await page.evaluate((n) => window.review.state.decisions.length === n, before.n)); i++) await until(page, (n) => !window.review.state.is_reading || window.review.state.decisions.length > n, before.n).catch(() => {});
  await last('box');
  const after = await page.evaluate(() => window.review.state.observations.find((o) => o.id === 'O4').distance_m);
  assert.ok(Math.abs(after - before.at) < 0.05, `read again: ${after}, before ${before.at}`);
  await page.locator('#undo').click();
  await last('undo');
});
await step('rules on trial, dropped, kept', async () => {
  const slider = page.locator('#rules input[type=range]').first();
  await slider.fill('300');
  await page.locator('#rules-say li').first().waitFor();
  await shot(page, 'rules');
  await page.getByRole('button', { name: 'Drop' }).click();
  assert.equal(await page.locator('#rules input[type=range]').first().inputValue(), '150');
  await page.locator('#rules input[type=range]').first().fill('200');
  await page.locator('#rules-say:not(:empty)').waitFor();
  await page.getByRole('button', { name: 'Keep' }).click();
  await until(page, () => window.review.state.rules[0].value === 200);
});
await step('crew sheet and report', async () => {
  const [sheet] = await Promise.all([page.waitForEvent('download'), page.locator('#issue').click()]);
  assert.match(sheet.suggestedFilename(), /^crew-sheet-F07-F08\.pdf$/);
  assert.equal(readFileSync(await sheet.path()).subarray(0, 5).toString(), '%PDF-');
  const [report] = await Promise.all([page.waitForEvent('download'), page.locator('#report').click()]);
  assert.match(readFileSync(await report.path(), 'utf8'), /data:image\/jpeg|stills\//);
  assert.equal(await page.evaluate(() => window.review.state.n_unissued), 0);
});
await step('nothing serious for screen readers, light and dark', async () => {
  await accessible(page, 'the page');
  await page.locator('#theme').click();
  await accessible(page, 'the page in dark');
  await shot(page, 'dark');
  await page.locator('#theme').click();
});
await step('200 % zoom and a phone', async () => {
  await page.setViewportSize({ width: 700, height: 475 });
  await page.evaluate(() => new Promise(requestAnimationFrame));
  assert.ok(await fits(page), 'no sideways scrolling at 200 %');
  await shot(page, 'zoom');
  await page.setViewportSize({ width: 390, height: 740 });
  assert.ok(await fits(page), 'no sideways scrolling on a phone');
  const broken = await page.evaluate(() => [...document.querySelectorAll('#plan-body td.n')].filter((cell) => {
    const range = document.createRange();
    range.selectNodeContents(cell);
    return range.getClientRects().length > 1;
  }).length);
  assert.equal(broken, 0, 'no number of the plan is broken over lines');
  await shot(page, 'phone');
  await page.setViewportSize({ width: 1400, height: 950 });
  const crew = await open(`${origin}/crew.html`);
  await crew.setViewportSize({ width: 360, height: 740 });
  await crew.locator('article').first().waitFor();
  assert.ok(await fits(crew), 'no sideways scrolling on a phone');
  const size = await crew.locator('.big').first().evaluate((node) => parseFloat(getComputedStyle(node).fontSize));
  assert.ok(size >= 48, 'stops can be read at arm’s length');
  assert.equal(await crew.locator('input, select, textarea').count(), 0);
  assert.doesNotMatch(await crew.locator('#crew').textContent(), /null|undefined|NaN/);
  await accessible(crew, 'the crew view');
  await shot(crew, 'crew');
  await crew.close();
  await page.bringToFront();
});
await step('printed', async () => {
  await page.locator('#theme').click();
  await page.emulateMedia({ media: 'print' });
  assert.equal(await page.evaluate(() => getComputedStyle(document.body).color), 'rgb(27, 42, 51)', 'dark on white, whatever the screen is');
  assert.ok(await page.locator('#asks').isVisible(), 'what is not settled is said on paper');
  assert.ok(!(await page.locator('#all').isVisible()));
  await page.pdf({ path: 'shots/print.pdf' });
  await page.emulateMedia({ media: null });
  await page.locator('#theme').click();
});
await step('the server restarted, nothing lost', async () => {
  const was = await page.evaluate(() => window.review.state.decisions.length);
  await end(served);
  await page.locator('#trouble:visible').waitFor();
  served = await serve(Number(new URL(origin).port));
  await until(page, () => /new address/.test(document.querySelector('#trouble').textContent));
  await page.goto(served.address);
  await ready(page);
  assert.equal(await page.evaluate(() => window.review.state.decisions.length), was);
  assert.equal(await page.evaluate(() => window.review.state.rules[0].value), 200);
});
const took = await page.evaluate(async () => { for (let i = 0; i < 40; i++) await window.review.film.step(1); return window.review.film.steps.slice(-40).sort((a, b) => a - b); });
console.log(`steps in the browser: median ${took[20].toFixed(0)} ms, 95 % ${took[38].toFixed(0)} ms`);
assert.deepEqual(outside, [], 'nothing from elsewhere');
assert.deepEqual(troubles, [], 'no error on the page');
await browser.close();
await end(served);
console.log(`1..${steps}`);
