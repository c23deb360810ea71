// The crew's read-only view: stops that can be read at arm's length.
import { h, byId, get, useUnit, unit, length, lengthUnit } from '/kit.js';

const CARE = ['Do not enter without permit, gas test and attendant.', 'Keep clear of pipe ends and openings while a packer is inflated; never inflate it outside a pipe or above its rating.',
  'Resin harms skin, eyes and lungs: its data sheet rules.', 'Plug or bypass the flow; secure traffic.', 'Look with the camera at every stop before inflating: where there is no defect, do not set a liner.', 'Local codes and licensed practice come first.'];

function repair(state, r, i) {
  const byName = new Map(state.observations.map((o) => [o.id, o]));
  const second = (name, value) => h('p', { class: 'second' }, name, h('b', {}, value));
  const doubts = r.covers.map((id) => state.needs.find((n) => n.observation === id)).filter(Boolean);
  return h('article', { 'aria-labelledby': `r${i}` }, h('h2', { class: 'order', id: `r${i}` }, `${i + 1}.  ${r.id}  ${r.kit}`),
    h('div', { class: 'where' }, h('p', { class: 'big' }, length(r.stop_m), h('small', {}, ` ${unit.name} stop`)), second('Mark on the rod', lengthUnit(r.mark_m)), second('Liner', lengthUnit(r.length_m)), second('May be off by', lengthUnit(r.slack_m))),
    doubts.length ? h('p', { class: 'care' }, h('strong', {}, 'Not settled: '), doubts.map((n) => `${n.observation} ${n.title.toLowerCase()}`).join('; '), '. Ask the reviewer before setting this liner.') : null,
    h('ul', { class: 'does' }, ...r.prepare.map((work) => h('li', {}, `First: ${work}`)), ...r.covers.map((id) => { const o = byName.get(id); return h('li', {}, `${o.code} ${o.meaning}, ${lengthUnit(o.distance_m)}${o.clock_from ? `, ${o.clock_from}${o.clock_to ? ` to ${o.clock_to}` : ''} o’clock` : ''}`); }), ...r.reopens.map((id) => h('li', {}, `Cut ${id} open again after cure`))));
}
function draw(state) {
  useUnit(state.unit);
  const g = state.segment;
  document.title = `${g.id} · crew`;
  byId('crew').replaceChildren(...[h('h1', {}, `${g.from || g.id} → ${g.to || ''}`),
    h('p', { class: 'lead' }, `Work from ${g.crew_enters_at_to ? g.to : g.from}. ${lengthUnit(g.length_m)}, ${g.diameter_mm || '?'} mm ${g.material}. Stops are metres or feet from the pipe edge at ${g.from} to the middle of the packer, in order of work.`.replace('metres or feet', unit.name === 'ft' ? 'feet' : 'metres')),
    state.n_unissued ? h('p', { class: 'care', role: 'status' }, 'The review goes on: decisions were made that are not issued yet. Work from an issued sheet.') : null,
    h('ul', { class: 'care', 'aria-label': 'Cautions' }, ...CARE.map((text) => h('li', {}, text))),
    ...(state.plan.repairs.length ? state.plan.repairs.map((r, i) => repair(state, r, i)) : [h('p', {}, 'No liner is planned.')])].filter(Boolean));
}
async function follow() {
  let version = -1;
  for (;;) {
    try {
      const state = await get(`/api/state${version < 0 ? '' : `?since=${version}`}`);
      if (state) { version = state.version; draw(state); }
    } catch { await new Promise((done) => setTimeout(done, 3000)); }
  }
}
try { document.documentElement.dataset.theme = localStorage.getItem('theme') || (matchMedia('(prefers-color-scheme: dark)').matches ? 'dark' : 'light'); } catch { /* light */ }
follow();
