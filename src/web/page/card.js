// The card of what is chosen: what picture and log say, and every decision that can be made about it.
import { h, byId, length, lengthUnit, unit, metres, money, post } from '/kit.js';

const FLAGS = { log_disagrees: 'log and picture differ', counter_unread: 'counter not seen', time_outside_video: 'not in the video', counter_jump: 'counter was set', unknown_code: 'unknown code', open_continuous: 'no end logged',
  beyond_segment: 'outside the pipe', clock_doubtful: 'time unsure', moved_to_standstill: 'moved to a standstill', row_odd: 'odd row', unsure: 'reading unsure', no_distance: 'no place' };
const TREATMENTS = { line: 'line: a liner repairs it', prepare: 'prepare, then line', refer: 'refer to an engineer', clear: 'keep liners clear', none: 'nothing to do' };

export class Card {
  constructor(app) {
    this.app = app;
    this.body = byId('card-body');
    this.open = new Set();
  }
  decide(fields) { return this.app.decide(fields); }
  draw(state, chosen) {
    const focus = this.body.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    const o = state.observations.find((one) => one.id === chosen);
    byId('card-h').textContent = o ? 'Decide' : 'At this frame';
    this.body.replaceChildren(...[...(o ? this.about(state, o) : []), ...this.here(state)].filter(Boolean));
    if (focus) this.body.querySelector(`[data-key="${focus}"]`)?.focus();
    if (o) this.foresee(state, o);
  }
  about(state, o) {
    const need = state.needs.find((n) => n.observation === o.id);
    const clock = o.clock_from ? (o.clock_to && o.clock_to !== o.clock_from ? `${o.clock_from} to ${o.clock_to} o’clock` : `${o.clock_from} o’clock`) : '–';
    const extent = o.end_m !== null && o.end_m - o.start_m > 0.0005 ? `${length(o.start_m)} to ${lengthUnit(o.end_m)}` : lengthUnit(o.distance_m);
    const repairs = state.plan.repairs.filter((r) => r.covers.includes(o.id)).map((r) => `${r.id}, stop ${lengthUnit(r.stop_m)}`);
    const fact = (name, value) => [h('dt', {}, name), h('dd', {}, value)];
    return [
      h('h3', {}, `${o.id}  ${[o.code, o.ch1, o.ch2].filter(Boolean).join(' ')}`),
      h('p', { class: 'meaning' }, o.meaning || o.code, o.remark ? ` (${o.remark})` : ''),
      need ? h('p', {}, h('strong', {}, `${need.title}. `), need.text) : null,
      h('dl', { class: 'facts' }, ...fact('Place', `${extent}  ± ${lengthUnit(o.error_m)}`), ...fact('Clock', clock), ...fact('Treatment', TREATMENTS[o.treatment]), ...fact('Because', o.reason || '–'),
        ...(o.prepare ? fact('First', o.prepare.replaceAll(';', ', ')) : []), ...(repairs.length ? fact('Liner', repairs.join('; ')) : []), ...(o.unrepaired ? fact('No liner', o.unrepaired) : [])),
      o.flags.length ? h('ul', { class: 'chips', 'aria-label': 'Doubts' }, ...o.flags.map((f) => h('li', {}, FLAGS[f] || f))) : null,
      this.choices(state, o),
      this.fold('place', 'Move or stretch', this.form([this.text('start', `From (${unit.name})`, length(o.start_m), 8), this.text('end', `To (${unit.name})`, length(o.end_m), 8)], 'Move it there', (f) => this.move(o, f))),
      this.fold('treat', 'Treatment', this.form([this.select('treatment', 'Treatment', Object.entries(TREATMENTS), o.treatment), this.text('reason', 'Why', '', 30, true)], 'Change treatment', (f) => this.decide({ act: 'treatment', observation: o.id, treatment: f.treatment, reason: f.reason }))),
      this.fold('clock', 'Clock position', this.form([this.hours('clock_from', 'From', o.clock_from), this.hours('clock_to', 'To', o.clock_to)], 'Change clock', (f) => this.decide({ act: 'clock', observation: o.id, clock_from: f.clock_from, clock_to: f.clock_to }))),
      this.fold('code', 'Code', this.form([this.text('code', 'Code', o.code, 5), this.text('ch1', 'Char. 1', o.ch1, 3), this.text('ch2', 'Char. 2', o.ch2, 3), this.text('q1', 'Quant. 1', o.q1, 5), this.text('q2', 'Quant. 2', o.q2, 5)], 'Change code', (f) => this.decide({ act: 'code', observation: o.id, ...f, code: f.code.toUpperCase() }))),
      this.fold('withdraw', 'Withdraw', this.form([this.text('reason', 'Why it is none', '', 30, true)], 'Withdraw it', (f) => this.decide({ act: 'withdraw', observation: o.id, reason: f.reason }))),
    ];
  }
  choices(state, o) {
    const scale = state.counter && state.counter.unit === 'ft' ? 0.3048 : 1;
    const button = (key, act, title, value, isOn) => h('button', { type: 'button', 'data-key': key, 'data-act': act, 'aria-pressed': String(isOn), onclick: () => this.decide({ act, observation: o.id }) },
      h('span', {}, title), h('span', { class: 'big' }, value), h('span', { class: 'then' }));
    const list = [];
    if (o.reading) list.push(button('1', 'take picture', 'The picture shows', `${length(Number(o.reading) * scale)} ${unit.name}`, o.source === 'picture'));
    if (o.logged_m !== null) list.push(button('2', 'take log', 'The log says', lengthUnit(o.logged_m), o.source === 'log'));
    const confirm = h('button', { type: 'button', 'data-key': 'c', 'data-act': 'confirm', 'aria-pressed': 'false', onclick: () => this.decide({ act: 'confirm', observation: o.id }) }, h('span', {}, o.is_settled ? 'Settled' : 'Right as it stands'), h('span', {}, o.is_settled ? '✓' : ''));
    return h('div', { class: 'choices', role: 'group', 'aria-label': 'Distance' }, ...(o.reading && o.logged_m !== null ? list : []), confirm);
  }
  // What each choice would make of the plan, tried on the server.
  async foresee(state, o) {
    const buttons = [...this.body.querySelectorAll('[data-act^="take"]')];
    for (const button of buttons) {
      if (button.getAttribute('aria-pressed') === 'true') { button.querySelector('.then').textContent = 'taken now'; continue; }
      try {
        const tried = await post('/api/try', { act: button.dataset.act, observation: o.id });
        const more = tried.plan.repairs.length - state.plan.repairs.length, cost = tried.plan.cost - state.plan.cost;
        const moved = tried.plan.repairs.filter((r) => !state.plan.repairs.some((p) => Math.abs(p.stop_m - r.stop_m) < 0.0005)).length;
        button.querySelector('.then').textContent = !more && !moved ? 'the plan would stay as it is' : `the plan would change: ${more ? `${more > 0 ? '+' : '−'}${Math.abs(more)} liner${Math.abs(more) > 1 ? 's' : ''}, ` : ''}${moved} other stop${moved === 1 ? '' : 's'}, cost ${cost >= 0 ? '+' : '−'}${money(Math.abs(cost))}`;
      } catch (error) { button.querySelector('.then').textContent = error.message; }
    }
  }
  here(state) {
    const film = this.app.film;
    const hasFilm = Boolean(film.n);
    return [
      state.counter ? this.fold('reading', 'Correct the reading at this frame', this.form([this.text('reading', 'The counter shows', '', 8)], 'Correct reading', (f) => this.decide({ act: 'reading', time: film.now.toFixed(4), reading: f.reading.replace(',', '.') }))) : null,
      hasFilm ? this.fold('add', 'Add an observation at this frame', this.form([this.text('code', 'Code', '', 5), this.text('ch1', 'Char. 1', '', 3), this.text('ch2', 'Char. 2', '', 3), this.text('q1', 'Quant. 1', '', 5), this.hours('clock_from', 'Clock from', 0), this.hours('clock_to', 'to', 0), this.text('distance', `Distance (${unit.name}), if the picture does not say`, '', 8), this.text('reason', 'Remark', '', 30, true)], 'Add it',
        (f) => this.decide({ act: 'add', time: film.now.toFixed(4), code: f.code.toUpperCase(), ch1: f.ch1, ch2: f.ch2, q1: f.q1, clock_from: f.clock_from, clock_to: f.clock_to, distance: f.distance ? metres(f.distance) : null, reason: f.reason }))) : null,
      state.counter ? this.fold('tie', 'Place a tie', this.form([this.text('reading', 'Counter shows', this.app.readingNow(), 8), this.text('distance', `True distance (${unit.name})`, '', 8)], 'Place tie', (f) => this.decide({ act: 'tie', reading: f.reading.replace(',', '.'), distance: metres(f.distance) })), this.ties(state)) : null,
      hasFilm ? this.fold('box', 'Mark where the counter stands', h('div', {}, h('p', {}, 'Draw a box round the counter’s digits in the picture, or give it in pixels. The video is then read again there, which takes a while.'),
        this.form([this.text('box', 'x, y, width, height', (state.counter ? state.counter.box : []).join(','), 16)], 'Read again there', (f) => this.decide({ act: 'box', box: f.box.replace(/\s/g, '') })))) : null,
    ];
  }
  ties(state) {
    return h('ul', {}, ...state.ties.map(([reading, place]) => h('li', {}, `${reading} = ${lengthUnit(place)} `, h('button', { type: 'button', 'aria-label': `Take away the tie at ${reading}`, onclick: () => this.decide({ act: 'tie', reading: String(reading) }) }, 'Take away'))));
  }
  move(o, f) {
    const start = metres(f.start), end = f.end === '' ? start : metres(f.end);
    if (start === null || end === null) throw new Error('Give both ends as numbers.');
    return this.decide({ act: 'move', observation: o.id, start, end });
  }
  fold(key, title, ...content) {
    const node = h('details', { 'data-fold': key, open: this.open.has(key) }, h('summary', { 'data-key': `fold-${key}` }, title), ...content);
    node.addEventListener('toggle', () => { if (node.open) this.open.add(key); else this.open.delete(key); if (key === 'box') this.app.boxing(node.open); });
    return node;
  }
  form(fields, action, submit) {
    const wrong = h('p', { class: 'wrong', role: 'alert' });
    return h('form', { onsubmit: async (event) => {
      event.preventDefault();
      wrong.textContent = '';
      try { await submit(Object.fromEntries(new FormData(event.target))); } catch (error) { wrong.textContent = error.message; }
    } }, ...fields, h('button', {}, action), wrong);
  }
  text(name, label, value, size, isWide = false) { return h('label', { class: isWide ? 'wide' : null }, label, h('input', { name, value: value === '–' ? '' : value, size, autocomplete: 'off' })); }
  select(name, label, options, value) { return h('label', {}, label, h('select', { name }, ...options.map(([v, words]) => h('option', { value: v, selected: v === value }, words)))); }
  hours(name, label, value) { return this.select(name, label, [['0', '–'], ...Array.from({ length: 12 }, (_, i) => [String(i + 1), String(i + 1)])], String(value)); }
}
