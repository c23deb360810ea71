// The plan, what a decision changed in it, rules on trial, decisions made.
import { h, byId, length, lengthUnit, unit, money, post } from '/kit.js';

const sameStop = (a, b) => Math.abs(a.stop_m - b.stop_m) < 0.0005 && a.kit === b.kit;
export function difference(before, after) {
  const gone = before.repairs.filter((r) => !after.repairs.some((q) => sameStop(r, q)));
  const fresh = after.repairs.filter((r) => !before.repairs.some((q) => sameStop(r, q)));
  const moved = [];
  for (const r of [...gone]) {
    const to = fresh.find((q) => q.covers.some((id) => r.covers.includes(id)));
    if (to) { moved.push([r, to]); gone.splice(gone.indexOf(r), 1); fresh.splice(fresh.indexOf(to), 1); }
  }
  return { gone, fresh, moved, cost: after.cost - before.cost, n: [before.repairs.length, after.repairs.length], left: [before.unrepaired.length, after.unrepaired.length] };
}
export function sayDifference(d) {
  if (!d.gone.length && !d.fresh.length && !d.moved.length && d.left[0] === d.left[1] && Math.abs(d.cost) < 0.005) return null;
  const li = (...parts) => h('li', {}, ...parts);
  return h('ul', {},
    li('Liners ', h('b', {}, d.n[0] === d.n[1] ? String(d.n[1]) : `${d.n[0]} → ${d.n[1]}`)),
    li('Cost ', h('b', {}, `${d.cost >= 0 ? '+' : '−'}${money(Math.abs(d.cost))}`)),
    ...d.moved.map(([a, b]) => li(`${b.id} `, h('b', {}, a.stop_m === b.stop_m ? `${a.kit} → ${b.kit}` : `${length(a.stop_m)} → ${lengthUnit(b.stop_m)}`))),
    ...d.fresh.map((r) => li('new ', h('b', {}, `${r.id} at ${lengthUnit(r.stop_m)}`))),
    ...d.gone.map((r) => li('gone ', h('b', {}, `stop ${lengthUnit(r.stop_m)}`))),
    d.left[0] === d.left[1] ? null : li('Without a repair ', h('b', {}, `${d.left[0]} → ${d.left[1]}`)));
}

export function drawPlan(state, choose) {
  const p = state.plan;
  const row = (r) => h('tr', {}, h('th', { scope: 'row' }, r.id), h('td', { class: 'stop-at' }, lengthUnit(r.stop_m)), h('td', { class: 'n' }, lengthUnit(r.mark_m)), h('td', {}, r.kit), h('td', { class: 'n' }, `${length(r.start_m)} – ${length(r.end_m)}`),
    h('td', {}, ...r.covers.flatMap((id, i) => [i ? ' ' : null, h('button', { type: 'button', onclick: () => choose(id) }, id)])), h('td', { class: 'n' }, lengthUnit(r.slack_m)), h('td', { class: 'n' }, money(r.cost)));
  const table = p.repairs.length ? h('div', { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Repairs in order of work' }, h('table', {}, h('thead', {}, h('tr', {}, ...['Repair', 'Stop', 'Mark', 'Kit', 'From – to', 'Covers', 'Slack', 'Cost'].map((name, i) => h('th', { scope: 'col', class: [2, 4, 6, 7].includes(i) ? 'n' : null }, name)))), h('tbody', {}, ...p.repairs.map(row)))) : h('p', {}, 'No liner is planned.');
  const d = sayDifference(difference(state.first, p));
  byId('plan-body').replaceChildren(...[table,
    h('p', { class: 'total' }, h('b', {}, `${p.repairs.length} liner${p.repairs.length === 1 ? '' : 's'}, ${money(p.cost)}`), p.full_lining_cost !== null ? `  ·  lining the whole pipe ${money(p.full_lining_cost)}` : '', p.advice ? `  ·  ${p.advice}` : ''),
    p.unrepaired.length ? h('ul', { 'aria-label': 'Without a repair' }, ...p.unrepaired.map((u) => h('li', {}, h('button', { type: 'button', onclick: () => choose(u.observation) }, u.observation), ` ${u.reason}`))) : null,
    d ? h('details', {}, h('summary', {}, 'Against the plan before any decision'), d) : null].filter(Boolean));
}

export class Rules {
  constructor(app) { this.app = app; this.form = byId('rules'); this.touched = false; }
  draw(state) {
    this.state = state;
    if (this.touched) return; // someone is trying: keep what they set
    const label = (r) => `${Math.round(r.value * 100) / 100}${r.unit ? ` ${r.unit}` : ''}`;
    this.inputs = state.rules.map((r) => h('input', { type: 'range', min: r.least, max: r.most, step: 1, value: r.value, 'data-key': r.key, 'data-was': r.value, 'data-unit': r.unit, 'aria-valuetext': label(r) }));
    this.say = h('p', { id: 'rules-say', role: 'status' });
    this.form.replaceChildren(...state.rules.map((r, i) => h('label', {}, h('span', {}, r.label), h('output', {}, label(r)), this.inputs[i])), this.say,
      h('div', { class: 'row' }, h('button', { type: 'submit', class: 'strong', disabled: true }, 'Keep'), h('button', { type: 'button', disabled: true, onclick: () => this.drop() }, 'Drop')));
    this.inputs.forEach((input) => input.addEventListener('input', () => this.moved(input)));
    this.form.onsubmit = (event) => { event.preventDefault(); this.keep(); };
  }
  fields() {
    const fields = {};
    this.inputs.filter((input) => Math.abs(Number(input.value) - Number(input.dataset.was)) > 1e-9).forEach((input, i) => {
      fields[`rule${i + 1}`] = input.dataset.key;
      fields[`value${i + 1}`] = `${input.value}${input.dataset.unit ? ` ${input.dataset.unit}` : ''}`;
    });
    return fields;
  }
  moved(input) {
    const words = `${input.value}${input.dataset.unit ? ` ${input.dataset.unit}` : ''}`;
    input.parentElement.querySelector('output').textContent = words;
    input.setAttribute('aria-valuetext', words);
    this.touched = true;
    this.form.querySelectorAll('button').forEach((button) => { button.disabled = false; });
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.tryOut(), 150);
  }
  async tryOut() {
    const fields = this.fields();
    if (!Object.keys(fields).length) { this.say.textContent = ''; return; }
    try {
      const tried = await post('/api/try-rules', fields);
      this.say.replaceChildren(sayDifference(difference(this.state.plan, tried.plan)) || 'The plan would stay as it is.');
    } catch (error) { this.say.textContent = error.message; }
  }
  async keep() {
    const fields = this.fields();
    this.touched = false;
    try { await this.app.send('/api/rules', fields); } catch (error) { this.touched = true; this.say.textContent = error.message; }
  }
  drop() { this.touched = false; this.draw(this.state); }
}

export function drawPast(state, undo) {
  const made = state.decisions.filter((d) => d.act !== 'undo' && d.act !== 'redo');
  byId('past').replaceChildren(...(made.length ? made.map((d) => h('li', { class: d.is_active ? null : 'off' },
    h('button', { type: 'button', 'aria-label': `${d.is_active ? 'Take back' : 'Let count again'}: ${d.words}`, onclick: () => undo({ act: d.is_active ? 'undo' : 'redo', of: d.key }) }, d.is_active ? 'Take back' : 'Again'),
    d.words, h('small', {}, `${d.who || 'no name'}, ${d.at.replace('T', ' ').replace('Z', ' UTC')}`))).reverse() : [h('li', {}, 'None yet.')]));
  byId('found').replaceChildren(...(state.findings.length ? state.findings.map((f) => h('li', { class: f.is_warning ? 'warn' : null }, f.text)) : [h('li', {}, 'Nothing was odd.')]));
}
