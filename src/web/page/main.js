// The review page: state from the server, and who shows what of it.
import { h, byId, get, post, useUnit, unit, length, lengthUnit, metres, clockTime, Axis } from '/kit.js';
import { Film } from '/film.js';
import { Strip, legend } from '/strip.js';
import { Trace } from '/trace.js';
import { Card } from '/card.js';
import { difference, sayDifference, drawPlan, drawPast, Rules } from '/plan.js';

class App {
  constructor() {
    this.chosen = null;
    this.film = new Film((n, time) => this.moved(n, time));
    this.strip = new Strip({ choose: (id) => this.choose(id), goTo: (m) => this.goTo(m), stretch: (o, a, b, isDone) => this.stretch(o, a, b, isDone) });
    this.trace = new Trace((time) => this.film.toTime(time));
    this.card = new Card(this);
    this.rules = new Rules(this);
    this.wire();
    legend();
  }
  async start() {
    try {
      await this.take(await get('/api/state'));
    } catch (error) { this.trouble(error.message); return; }
    const first = this.state.needs[0];
    if (first) this.choose(first.observation); else this.film.show(0, 0);
    this.follow();
  }
  // Wait for what others decide, here or in another window; a server gone is told and asked again.
  async follow() {
    for (;;) {
      try {
        const state = await get(`/api/state?since=${this.state.version}`);
        this.trouble(null);
        if (state && state.version !== this.state.version) await this.take(state);
      } catch (error) {
        this.trouble(error.status === 401 ? 'The review was started again: open the new address from the terminal. Every decision is kept.' : 'The server does not answer. Every decision made so far is kept in the job file.');
        if (error.status === 401) return;
        await new Promise((done) => setTimeout(done, 2000));
      }
    }
  }
  async take(state) {
    const before = this.state;
    if (before && state.version < before.version) return;
    this.state = state;
    useUnit(state.unit);
    document.querySelectorAll('.unit').forEach((node) => { node.textContent = unit.name; });
    if (!before || before.video.n_frames !== state.video.n_frames) this.film.load(state.video);
    if (!before || JSON.stringify(before.axis) !== JSON.stringify(state.axis) || before.decisions.length !== state.decisions.length) {
      this.axis = new Axis(state.axis, state.counter ? state.counter.unit : 'm');
      this.trace.set(await get('/api/trace'), this.axis);
    }
    if (before) this.sayChange(difference(before.plan, state.plan), before, state);
    this.draw();
  }
  sayChange(d, before, state) {
    if (before.decisions.length === state.decisions.length) return;
    const words = sayDifference(d);
    const last = state.decisions[state.decisions.length - 1];
    byId('change').replaceChildren(h('strong', {}, last ? last.words : ''), words || h('p', {}, 'The plan stays as it is.'));
  }
  draw() {
    const s = this.state, g = s.segment;
    document.title = `${g.id} · review`;
    byId('title').textContent = g.from && g.to ? `${g.from} → ${g.to}` : g.id;
    byId('subtitle').textContent = [lengthUnit(g.length_m), g.is_length_assumed ? '(assumed)' : '', g.diameter_mm ? `· ${g.diameter_mm} mm` : '', g.material, g.date ? `· surveyed ${g.date}` : ''].filter(Boolean).join(' ');
    byId('undo').disabled = !s.decisions.some((d) => d.is_active);
    byId('redo').disabled = !s.decisions.some((d) => !d.is_active && d.act !== 'undo' && d.act !== 'redo');
    byId('issue').textContent = s.n_unissued ? 'Issue and get crew sheet' : 'Crew sheet';
    byId('asks-n').textContent = s.needs.length;
    this.drawAsks();
    this.strip.draw(s, { chosen: this.chosen, gaps: this.trace.gaps() });
    this.trace.draw(s, s.video.duration_s);
    this.card.draw(s, this.chosen);
    drawPlan(s, (id) => this.choose(id));
    drawPast(s, (fields) => this.decide(fields).catch((error) => this.trouble(error.message)));
    this.rules.draw(s);
    this.drawVideo();
    this.mark();
  }
  drawVideo() {
    const v = this.state.video, s = this.state;
    byId('no-film').hidden = Boolean(v.n_frames);
    byId('no-film').textContent = v.words || '';
    byId('canvas').hidden = !v.n_frames;
    if (['changed', 'missing'].includes(v.state)) this.trouble(v.words);
    else if (s.is_reading) this.trouble(`The video is being read again: ${Math.round(s.reading_frac * 100)} %`);
    else if (s.reading_trouble) this.trouble(`Reading the counter in that box did not work: ${s.reading_trouble}`);
  }
  drawAsks() {
    const s = this.state, byName = new Map(s.observations.map((o) => [o.id, o]));
    const focus = document.activeElement?.closest?.('#asks, #all') ? document.activeElement.dataset.key : null;
    byId('asks').replaceChildren(...(s.needs.length ? s.needs.map((n) => {
      const o = byName.get(n.observation);
      return h('li', {}, h('button', { type: 'button', 'data-key': `ask-${o.id}`, 'aria-current': String(o.id === this.chosen), onclick: () => this.choose(o.id) },
        h('span', { class: 'row1' }, h('b', {}, `${o.id} ${o.code}`), h('span', {}, lengthUnit(o.distance_m))), h('span', { class: 'row2' }, n.title, o.flags.includes('log_disagrees') && o.logged_m !== null ? `: log ${length(o.logged_m)}, picture ${o.reading || '–'}` : '')));
    }) : [h('li', { class: 'done' }, 'Everything is settled.')]));
    byId('all').replaceChildren(...s.observations.map((o) => h('li', {}, h('button', { type: 'button', 'data-key': `all-${o.id}`, 'aria-current': String(o.id === this.chosen), onclick: () => this.choose(o.id) },
      h('span', { class: 'row1' }, h('b', {}, `${o.id} ${o.code}`), h('span', {}, `${length(o.distance_m)}${o.is_settled ? ' ✓' : ''}`)), h('span', { class: 'row2' }, o.meaning)))));
    if (focus) document.querySelector(`[data-key="${focus}"]`)?.focus();
  }
  choose(id) {
    this.chosen = id;
    const o = this.state.observations.find((one) => one.id === id);
    if (o && o.time_s !== null && this.film.n) this.film.toTime(o.time_s);
    else if (o && o.distance_m !== null) this.goTo(o.distance_m);
    this.draw();
  }
  goTo(place) {
    const time = this.trace.timeOf(place);
    if (time !== null && this.film.n) this.film.toTime(time);
    else this.strip.place(place);
  }
  readingNow() {
    const r = this.trace.reading(this.film.now);
    return r ? String(r[1].toFixed(this.state.counter.decimals)) : '';
  }
  moved(n, time) {
    byId('scrub').value = n;
    byId('scrub').setAttribute('aria-valuetext', clockTime(time));
    this.mark();
  }
  mark() {
    if (!this.film.n || !this.state) return;
    const time = this.film.now, place = this.trace.readings.length ? this.trace.place(time) : null, r = this.trace.reading(time);
    this.strip.place(place);
    this.trace.mark(time);
    byId('caption').textContent = `${clockTime(time)}   ${r ? `counter ${r[1].toFixed(this.state.counter.decimals)}${r[2] < 0.9 ? ' ?' : ''}` : 'counter not seen'}   ${place === null ? '' : `${length(place)} ${unit.name} along the pipe`}`;
  }
  stretch(o, start, end, isDone) {
    const form = document.querySelector('[data-fold="place"] form');
    if (form) { form.elements.start.value = length(start, 3); form.elements.end.value = length(end, 3); }
    if (isDone && (Math.abs(start - o.start_m) > 0.0004 || Math.abs(end - o.end_m) > 0.0004)) this.decide({ act: 'move', observation: o.id, start: start.toFixed(4), end: end.toFixed(4) }).catch((error) => this.trouble(error.message));
  }
  async send(path, fields) {
    const state = await post(path, { ...fields, who: byId('who').value.trim() });
    await this.take(state);
    return state;
  }
  async decide(fields) {
    const was = this.chosen;
    const state = await this.send('/api/decide', fields);
    if (fields.act === 'add') this.chosen = state.observations[state.observations.length - 1].id;
    else if (['confirm', 'take picture', 'take log'].includes(fields.act) && this.state.needs.length && !this.state.needs.some((n) => n.observation === was)) this.chosen = was;
    this.draw();
  }
  async issue(name) {
    try {
      await this.send('/api/issue', {});
      const link = h('a', { href: `/${name}`, download: '' });
      link.click();
    } catch (error) { this.trouble(error.message); }
  }
  trouble(text) {
    byId('trouble').hidden = !text;
    byId('trouble').textContent = text || '';
  }
  boxing(isOn) { byId('picture').classList.toggle('boxing', isOn); if (!isOn) { this.film.box = null; if (this.film.image) this.film.draw(this.film.image); } }
  nextAsk() {
    const list = this.state.needs.map((n) => n.observation);
    if (list.length) this.choose(list[(list.indexOf(this.chosen) + 1) % list.length]);
  }
  nextObservation(way) {
    const list = this.state.observations.filter((o) => o.distance_m !== null).sort((a, b) => a.distance_m - b.distance_m);
    const i = list.findIndex((o) => o.id === this.chosen);
    const next = list[Math.min(Math.max(i + way, 0), list.length - 1)];
    if (next) this.choose(next.id);
  }
  nextStand() {
    const now = this.film.now;
    const next = this.state.standstills.find((t) => t[0] > now + 0.05) || this.state.standstills[0];
    if (next) this.film.toTime(next[0]);
  }
  wire() {
    const on = (id, event, fn) => byId(id).addEventListener(event, fn);
    const trying = (fields) => this.decide(fields).catch((error) => this.trouble(error.message));
    this.trying = trying;
    on('undo', 'click', () => trying({ act: 'undo' }));
    on('redo', 'click', () => trying({ act: 'redo' }));
    on('issue', 'click', () => this.issue('crew-sheet.pdf'));
    on('report', 'click', () => this.issue('report.html'));
    on('help', 'click', () => byId('keys').showModal());
    on('theme', 'click', () => theme(document.documentElement.dataset.theme === 'dark' ? 'light' : 'dark'));
    on('back', 'click', () => this.film.step(-1));
    on('forth', 'click', () => this.film.step(1));
    on('play', 'click', () => this.film.toggle());
    on('stand', 'click', () => this.nextStand());
    on('speed', 'change', (event) => { this.film.speed = Number(event.target.value); });
    on('scrub', 'input', (event) => { this.film.pause(); const to = Number(event.target.value); this.film.show(to, 0); });
    on('goto', 'submit', (event) => { event.preventDefault(); const m = metres(byId('goto-m').value); if (m !== null) this.goTo(m); });
    byId('who').value = remembered('who') || '';
    on('who', 'change', (event) => remember('who', event.target.value));
    this.drawBox();
    document.addEventListener('keydown', (event) => this.key(event));
  }
  // A box drawn round the counter with the pointer.
  drawBox() {
    const canvas = byId('canvas');
    const at = (event) => { const box = canvas.getBoundingClientRect(); const scale = Math.min(box.width / canvas.width, box.height / canvas.height); const left = (box.width - canvas.width * scale) / 2, top = (box.height - canvas.height * scale) / 2;
      return [Math.round(Math.min(Math.max((event.clientX - box.left - left) / scale, 0), canvas.width)), Math.round(Math.min(Math.max((event.clientY - box.top - top) / scale, 0), canvas.height))]; };
    canvas.addEventListener('pointerdown', (event) => {
      if (!byId('picture').classList.contains('boxing')) return;
      const [x0, y0] = at(event);
      canvas.setPointerCapture(event.pointerId);
      canvas.onpointermove = (e) => {
        const [x1, y1] = at(e);
        this.film.box = [Math.min(x0, x1), Math.min(y0, y1), Math.abs(x1 - x0), Math.abs(y1 - y0)];
        if (this.film.image) this.film.draw(this.film.image);
        const aspect = this.state.video.pixel_aspect || 1, [x, y, w, hh] = this.film.box;
        const form = document.querySelector('[data-fold="box"] form');
        if (form) form.elements.box.value = [Math.round(x / aspect), y, Math.round(w / aspect), hh].join(',');
      };
      canvas.onpointerup = () => { canvas.onpointermove = canvas.onpointerup = null; };
    });
  }
  key(event) {
    const target = event.target;
    const isTyping = target.matches?.('input:not([type="range"]), textarea, select') || byId('keys').open;
    if (isTyping || event.ctrlKey || event.metaKey || event.altKey || !this.state) return;
    if (event.key === ' ' && target.matches?.('button, summary, a')) return;
    if (target.matches?.('input[type="range"]') && event.key.startsWith('Arrow')) return;
    const press = (key) => document.querySelector(`#card-body [data-key="${key}"]`)?.click();
    const keys = {
      ArrowLeft: () => this.film.step(event.shiftKey ? -10 : -1), ArrowRight: () => this.film.step(event.shiftKey ? 10 : 1), ' ': () => this.film.toggle(),
      '[': () => this.nextObservation(-1), ']': () => this.nextObservation(1), n: () => this.nextAsk(), s: () => this.nextStand(), g: () => byId('goto-m').focus(),
      z: () => this.trying({ act: 'undo' }), Z: () => this.trying({ act: 'redo' }), 1: () => press('1'), 2: () => press('2'), c: () => press('c'), '?': () => byId('keys').showModal(),
      a: () => { const fold = document.querySelector('[data-fold="add"]'); if (fold) { fold.open = true; fold.querySelector('input').focus(); } },
      '+': () => this.speed(1), '-': () => this.speed(-1),
    };
    if (keys[event.key]) { event.preventDefault(); keys[event.key](); }
  }
  speed(way) {
    const select = byId('speed');
    select.selectedIndex = Math.min(Math.max(select.selectedIndex + way, 0), select.options.length - 1);
    this.film.speed = Number(select.value);
  }
}

function remembered(name) { try { return localStorage.getItem(name); } catch { return null; } }
function remember(name, value) { try { localStorage.setItem(name, value); } catch { /* a browser that keeps nothing */ } }
function theme(name) { document.documentElement.dataset.theme = name; remember('theme', name); }
theme(remembered('theme') || (matchMedia('(prefers-color-scheme: dark)').matches ? 'dark' : 'light'));

const app = new App();
window.review = app;
app.start();
