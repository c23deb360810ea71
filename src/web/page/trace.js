// The trace: what the counter showed over time, and what the log says beside it.
import { s, byId, length, unit } from '/kit.js';

const W = 1000, H = 88, PAD = 4;

export class Trace {
  constructor(onTime) {
    this.onTime = onTime;
    this.readings = [];
    this.box = byId('trace');
  }
  set(data, axis) {
    this.readings = data.readings;
    this.jumps = data.jumps;
    this.axis = axis;
    this.places = this.readings.map((r) => (r[1] === null ? null : axis.place(r[1])));
  }
  at(time) {
    let low = 0, high = this.readings.length;
    while (low < high) { const mid = (low + high) >> 1; if (this.readings[mid][0] <= time + 0.0005) low = mid + 1; else high = mid; }
    return low - 1;
  }
  // The place of the camera: between two readings it is taken to have driven evenly.
  place(time) {
    let i = this.at(time);
    while (i >= 0 && this.places[i] === null) i--;
    let k = this.at(time) + 1;
    while (k < this.places.length && this.places[k] === null) k++;
    if (i < 0) return this.places[k] ?? null;
    if (k >= this.places.length) return this.places[i];
    const [a, b] = [this.readings[i], this.readings[k]];
    return b[0] > a[0] ? this.places[i] + ((time - a[0]) / (b[0] - a[0])) * (this.places[k] - this.places[i]) : this.places[i];
  }
  reading(time) {
    const i = this.at(time);
    return i >= 0 && this.readings[i][1] !== null ? this.readings[i] : null;
  }
  timeOf(place) {
    let best = null, least = Infinity;
    this.places.forEach((p, i) => { if (p !== null && Math.abs(p - place) < least) { least = Math.abs(p - place); best = this.readings[i][0]; } });
    return best;
  }
  // Stretches of the pipe over which the counter was hidden or doubtful for a while.
  gaps() {
    const out = [];
    let from = null, since = null;
    this.readings.forEach((r, i) => {
      const isGood = r[1] !== null && r[2] >= 0.9;
      if (isGood) {
        if (from !== null && r[0] - since > 2 && Math.abs(this.places[i] - from) > 0.02) out.push([Math.min(from, this.places[i]), Math.max(from, this.places[i])]);
        from = this.places[i];
        since = r[0];
      }
    });
    return out;
  }
  draw(state, duration) {
    if (!this.readings.length) { this.box.replaceChildren(); return; }
    this.duration = duration || this.readings[this.readings.length - 1][0] || 1;
    const most = Math.max(state.segment.length_m || 1, ...this.places.filter((p) => p !== null));
    this.x = (t) => (t / this.duration) * W;
    const y = (m) => H - PAD - (m / most) * (H - 2 * PAD);
    const parts = [[]];
    this.readings.forEach((r, i) => { if (this.places[i] === null) parts.push([]); else parts[parts.length - 1].push(`${this.x(r[0]).toFixed(1)},${y(this.places[i]).toFixed(1)}`); });
    const doubtful = this.readings.map((r, i) => [r, this.places[i]]).filter(([r, p]) => p !== null && r[2] < 0.9).slice(0, 400);
    const seen = state.observations.filter((o) => o.time_s !== null && o.distance_m !== null);
    this.line = s('line', { class: 'trace-now', y1: 0, y2: H });
    const svg = s('svg', { viewBox: `0 0 ${W} ${H}`, preserveAspectRatio: 'none', role: 'img', 'aria-label': 'Counter over time; the log’s distances as open squares' },
      ...this.jumps.map((t) => s('line', { class: 'trace-doubt', x1: this.x(t), x2: this.x(t), y1: 0, y2: H })),
      ...parts.filter((p) => p.length).map((p) => s('polyline', { class: 'trace-line', points: p.join(' ') })),
      ...doubtful.map(([r, p]) => s('line', { class: 'trace-doubt', x1: this.x(r[0]), x2: this.x(r[0]), y1: y(p) - 4, y2: y(p) + 4 })),
      ...seen.map((o) => s('circle', { class: 'trace-seen', cx: this.x(o.time_s), cy: y(o.distance_m), r: 3 })),
      ...seen.filter((o) => o.flags.includes('log_disagrees') && o.logged_m !== null).map((o) => s('rect', { class: 'trace-log', x: this.x(o.time_s) - 4, y: Math.min(Math.max(y(o.logged_m), 4), H - 4) - 4, width: 8, height: 8 }, s('title', {}, `${o.id}: the log says ${length(o.logged_m)} ${unit.name}`))),
      this.line);
    svg.addEventListener('click', (event) => { const box = svg.getBoundingClientRect(); this.onTime(((event.clientX - box.left) / box.width) * this.duration); });
    this.box.replaceChildren(svg);
  }
  mark(time) {
    if (!this.line) return;
    const x = this.x(time);
    this.line.setAttribute('x1', x);
    this.line.setAttribute('x2', x);
  }
}
