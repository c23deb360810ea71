// The pipe to scale, with everything that lies along it.
import { s, h, byId, length, unit } from '/kit.js';

const W = 1400, LEFT = 64, RIGHT = 64, PIN = 30, TOP = 92, WALL = 11, BORE = 46, TAPE = TOP + 2 * WALL + BORE + 30;
const H = TAPE + 44;
const IN = TOP + WALL, OUT = IN + BORE;

export class Strip {
  constructor(handlers) {
    this.on = handlers;
    this.box = byId('strip-box');
  }
  x(m) { return LEFT + (m / this.length) * (W - LEFT - RIGHT); }
  m(x) { return ((x - LEFT) / (W - LEFT - RIGHT)) * this.length; }
  draw(state, view) {
    this.state = state;
    this.length = state.segment.length_m || 1;
    const focus = document.activeElement && this.box.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    this.svg = s('svg', { viewBox: `0 0 ${W} ${H}`, role: 'presentation' },
      this.patterns(), this.pipe(), this.unsure(view.gaps), this.keep(), this.sleeves(), this.tape(), this.stands(), this.pins(view.chosen), this.head(), this.grips(view.chosen));
    this.svg.addEventListener('click', (event) => this.click(event));
    this.box.replaceChildren(this.svg);
    this.place(this.now ?? null);
    if (focus) this.box.querySelector(`[data-key="${CSS.escape(focus)}"]`)?.focus();
  }
  patterns() {
    return s('defs', {},
      s('pattern', { id: 'hatch', width: 6, height: 6, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' }, s('line', { x1: 0, y1: 0, x2: 0, y2: 6, class: 'hatch-line' })),
      s('pattern', { id: 'dots', width: 7, height: 7, patternUnits: 'userSpaceOnUse' }, s('circle', { cx: 2, cy: 2, r: 1.3, class: 'dot' })));
  }
  pipe() {
    const { from, to, crew_enters_at_to: far } = this.state.segment;
    const a = this.x(0), b = this.x(this.length);
    const shaft = (x, name, isCrew, anchor) => s('g', {},
      s('path', { class: 'shaft', d: `M${x - 20} 26 L${x - 20} ${OUT + WALL} L${x + 20} ${OUT + WALL} L${x + 20} 26 M${x - 26} 26 L${x + 26} 26` }),
      s('text', { class: 'node-name', x, y: 18, 'text-anchor': anchor }, `${name || ''}${isCrew ? '  crew here' : ''}`));
    return s('g', {}, shaft(a - 20, from, !far, 'start'), shaft(b + 20, to, far, 'end'),
      s('rect', { class: 'wall', x: a, y: TOP, width: b - a, height: WALL }), s('rect', { class: 'wall', x: a, y: OUT, width: b - a, height: WALL }),
      s('rect', { class: 'bore', x: a, y: IN, width: b - a, height: BORE }),
      ...[TOP, IN, OUT, OUT + WALL].map((y) => s('line', { class: 'wall-line', x1: a, x2: b, y1: y, y2: y })));
  }
  tape() {
    const steps = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200];
    const long = this.length * unit.perMetre;
    const step = steps.find((v) => long / v <= 30) || 500;
    const marks = [];
    for (let k = 0; k * step <= long + 1e-6; k++) {
      const x = this.x((k * step) / unit.perMetre);
      marks.push(s('line', { class: 'tick', x1: x, x2: x, y1: TAPE, y2: TAPE + 9 }), s('text', { class: 'tick-name', x, y: TAPE + 21, 'text-anchor': 'middle' }, String(+(k * step).toFixed(1))));
      for (let j = 1; j < 5 && (k + j / 5) * step <= long; j++) { const t = this.x(((k + j / 5) * step) / unit.perMetre); marks.push(s('line', { class: 'tick', x1: t, x2: t, y1: TAPE, y2: TAPE + 4 })); }
    }
    return s('g', {}, s('rect', { class: 'tape', x: this.x(0), y: TAPE, width: this.x(this.length) - this.x(0), height: 26 }), ...marks,
      s('text', { class: 'tick-name', x: this.x(this.length) + 12, y: TAPE + 21 }, unit.name));
  }
  sleeves() {
    return s('g', {}, ...this.state.plan.repairs.map((r) => {
      const a = this.x(r.start_m), w = Math.max(3, this.x(r.end_m) - a), x = this.x(r.stop_m);
      return s('g', { 'data-repair': r.id }, s('title', {}, `${r.id}: ${r.kit}, stop ${length(r.stop_m)} ${unit.name}`),
        s('rect', { class: 'sleeve-in', x: a, y: IN + 6, width: w, height: BORE - 12 }), s('rect', { class: 'sleeve', x: a, y: IN, width: w, height: 6 }), s('rect', { class: 'sleeve', x: a, y: OUT - 6, width: w, height: 6 }),
        s('path', { class: 'stop', d: `M${x} ${OUT + 2} V${TAPE} M${x - 5} ${TAPE - 7} L${x} ${TAPE} L${x + 5} ${TAPE - 7}` }),
        s('text', { class: 'stop-name', x: x + 6, y: OUT + WALL + 17 }, `${r.id} · ${length(r.stop_m)}`));
    }));
  }
  keep() {
    const wide = this.state.keep_clear_m || 0;
    return s('g', {}, ...this.state.observations.filter((o) => o.treatment === 'clear' && o.start_m !== null).map((o) => {
      const a = this.x(o.start_m), b = this.x(o.end_m), isTop = o.clock_from > 9 || o.clock_from < 3 || o.clock_from === 0;
      const y = isTop ? TOP - 20 : OUT + WALL, k0 = this.x(o.start_m - wide), k1 = this.x(o.end_m + wide);
      return s('g', {}, s('rect', { class: 'branch', x: a, y, width: Math.max(4, b - a), height: 20 }), s('rect', { class: 'keep', x: k0, y: IN, width: Math.max(4, k1 - k0), height: BORE }));
    }));
  }
  unsure(gaps) {
    return s('g', {}, ...gaps.map(([a, b]) => s('rect', { class: 'unsure-band', x: this.x(a), y: OUT - 14, width: Math.max(3, this.x(b) - this.x(a)), height: 13 }, s('title', {}, 'The counter could not be read with confidence here'))));
  }
  stands() {
    return s('g', {}, ...this.state.standstills.filter((t) => t[2] !== null).map(([from, to, m]) => s('rect', { class: 'stand', x: this.x(m) - 1.5, y: TAPE + 28, width: 3, height: Math.min(14, 3 + (to - from)) }, s('title', {}, `The camera stood ${(to - from).toFixed(0)} s at ${length(m)} ${unit.name}`))));
  }
  pins(chosen) {
    const needs = new Map(this.state.needs.map((n) => [n.observation, n]));
    const rows = [-1e9, -1e9, -1e9];
    const list = this.state.observations.filter((o) => o.distance_m !== null && !o.reason.startsWith('withdrawn')).sort((a, b) => a.distance_m - b.distance_m);
    return s('g', { id: 'pins' }, ...list.map((o) => {
      const m = Math.min(Math.max(o.distance_m, -0.02 * this.length), 1.02 * this.length), x = this.x(m);
      let row = rows.findIndex((end) => x - end > 26);
      if (row < 0) row = rows.indexOf(Math.min(...rows));
      rows[row] = x;
      const y = PIN + row * 22, isBad = needs.has(o.id);
      const shape = o.treatment === 'refer' ? s('rect', { class: 'head t-refer', x: x - 6, y: y - 6, width: 12, height: 12, transform: `rotate(45 ${x} ${y})` })
        : s('circle', { class: `head t-${o.treatment}`, cx: x, cy: y, r: o.treatment === 'none' ? 4 : 7 });
      const words = `${o.id} ${o.code}, ${o.meaning}, at ${length(o.distance_m)} ${unit.name}, ${o.treatment}${isBad ? `, to settle: ${needs.get(o.id).title}` : ''}`;
      return s('g', { class: `pin${o.id === chosen ? ' chosen' : ''}`, tabindex: o.id === chosen || (!chosen && o === list[0]) ? 0 : -1, role: 'button', 'aria-label': words, 'aria-pressed': String(o.id === chosen), 'data-key': o.id, 'data-id': o.id, onkeydown: (e) => this.pinKey(e, list, o), onclick: (e) => { e.stopPropagation(); this.on.choose(o.id); } },
        s('title', {}, words), s('circle', { class: 'halo', cx: x, cy: y, r: 14 }), s('line', { class: 'stem', x1: x, x2: x, y1: y, y2: IN + BORE / 2 }),
        s('line', { class: `extent t-${o.treatment}`, x1: this.x(o.start_m ?? m), x2: Math.max(this.x(o.start_m ?? m) + 3, this.x(o.end_m ?? m)), y1: IN + BORE / 2, y2: IN + BORE / 2 }),
        shape, o.treatment === 'prepare' ? s('line', { x1: x - 7, x2: x + 7, y1: y, y2: y, class: 'head' }) : null, isBad ? s('circle', { class: 'doubt', cx: x, cy: y, r: 11 }) : null,
        s('text', { x: x + 17, y: y + 4 }, o.id));
    }));
  }
  pinKey(event, list, o) {
    const to = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (to) {
      const next = list[list.indexOf(o) + to];
      event.preventDefault();
      event.stopPropagation();
      if (next) { this.on.choose(next.id); this.box.querySelector(`[data-id="${next.id}"]`)?.focus(); }
    } else if (event.key === 'Enter' || event.key === ' ') {
      event.preventDefault();
      event.stopPropagation();
      this.on.choose(o.id);
    }
  }
  // The two ends of the chosen extent: dragged, or moved with the arrow keys and settled with Enter.
  grips(chosen) {
    const o = this.state.observations.find((one) => one.id === chosen);
    if (!o || o.start_m === null || o.is_node) return null;
    const at = { start: o.start_m, end: o.end_m };
    const nodes = ['start', 'end'].map((side) => s('rect', { class: 'grip', x: this.x(at[side]) + (side === 'start' ? -9 : 2), y: IN + 8, width: 7, height: BORE - 16, rx: 2, tabindex: 0, role: 'slider', 'data-key': `grip-${side}`,
      'aria-label': `${side === 'start' ? 'Start' : 'End'} of ${o.id}`, 'aria-valuemin': 0, 'aria-valuemax': this.length * unit.perMetre, 'aria-valuenow': length(at[side]), 'aria-valuetext': `${length(at[side])} ${unit.name}` }));
    const move = (side, m) => {
      at[side] = Math.min(Math.max(m, 0), this.length);
      const node = nodes[side === 'start' ? 0 : 1];
      node.setAttribute('x', this.x(at[side]) + (side === 'start' ? -9 : 2));
      node.setAttribute('aria-valuetext', `${length(at[side])} ${unit.name}`);
      node.setAttribute('aria-valuenow', length(at[side]));
      this.on.stretch(o, Math.min(at.start, at.end), Math.max(at.start, at.end), false);
    };
    nodes.forEach((node, i) => {
      const side = i ? 'end' : 'start';
      node.addEventListener('keydown', (event) => {
        const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
        if (step) { event.preventDefault(); event.stopPropagation(); move(side, at[side] + step * (event.shiftKey ? 0.1 : 0.01)); }
        if (event.key === 'Enter') { event.stopPropagation(); this.on.stretch(o, Math.min(at.start, at.end), Math.max(at.start, at.end), true); }
      });
      node.addEventListener('pointerdown', (event) => {
        event.stopPropagation();
        node.setPointerCapture(event.pointerId);
        node.onpointermove = (e) => move(side, this.at(e));
        node.onpointerup = () => { node.onpointermove = node.onpointerup = null; this.on.stretch(o, Math.min(at.start, at.end), Math.max(at.start, at.end), true); };
      });
      node.addEventListener('click', (event) => event.stopPropagation());
    });
    return s('g', {}, ...nodes);
  }
  at(event) {
    const box = this.svg.getBoundingClientRect();
    return this.m(((event.clientX - box.left) / box.width) * W);
  }
  click(event) {
    const m = this.at(event);
    if (m >= -0.01 * this.length && m <= 1.01 * this.length) this.on.goTo(Math.min(Math.max(m, 0), this.length));
  }
  head() {
    this.camera = s('g', { 'pointer-events': 'none' }, s('path', { class: 'beam', d: `M8 ${IN + BORE / 2} L60 ${IN + 3} L60 ${OUT - 3} Z` }), s('line', { class: 'head-line', x1: 0, x2: 0, y1: 20, y2: TAPE + 26 }), s('rect', { class: 'lamp', x: -12, y: IN + BORE / 2 - 7, width: 18, height: 14, rx: 6 }));
    return this.camera;
  }
  place(m) {
    this.now = m;
    if (!this.camera) return;
    this.camera.setAttribute('visibility', m === null ? 'hidden' : 'visible');
    if (m !== null) this.camera.setAttribute('transform', `translate(${this.x(Math.min(Math.max(m, 0), this.length))} 0)`);
  }
}

export function legend() {
  const sign = (node, words) => h('li', {}, s('svg', { viewBox: '0 0 22 20', 'aria-hidden': 'true' }, ...[].concat(node)), words);
  byId('legend').replaceChildren(
    sign(s('circle', { class: 't-line', cx: 11, cy: 10, r: 6 }), 'liner repairs it'),
    sign([s('circle', { class: 't-prepare', cx: 11, cy: 10, r: 6 }), s('line', { x1: 4, x2: 18, y1: 10, y2: 10, stroke: 'var(--sheet)', 'stroke-width': 2 })], 'prepare, then liner'),
    sign(s('rect', { class: 't-refer', x: 6, y: 5, width: 10, height: 10, transform: 'rotate(45 11 10)' }), 'to an engineer'),
    sign(s('circle', { class: 't-clear', cx: 11, cy: 10, r: 6 }), 'connection, keep clear'),
    sign(s('circle', { cx: 11, cy: 10, r: 7, fill: 'none', stroke: 'var(--doubt)', 'stroke-width': 2.5, 'stroke-dasharray': '3 2.5' }), 'to settle'),
    sign([s('rect', { class: 'sleeve', x: 2, y: 3, width: 18, height: 4 }), s('rect', { class: 'sleeve', x: 2, y: 13, width: 18, height: 4 })], 'liner and its stop'),
    sign(s('rect', { class: 'dot', x: 2, y: 8, width: 18, height: 4, opacity: 0.6 }), 'counter unsure'),
    sign(s('rect', { class: 'stand', x: 10, y: 4, width: 3, height: 13 }), 'camera stood'));
}
