// Footage: exact frames by number, fetched ahead, played, stepped, scrubbed.
import { byId, clockTime } from '/kit.js';

const KEPT = 90, AHEAD = 6, AT_ONCE = 3; // the server fetches ahead too: a few in flight are enough

export class Film {
  constructor(onMove) {
    this.onMove = onMove;
    this.canvas = byId('canvas');
    this.images = new Map();
    this.at = 0;
    this.way = 0;
    this.isPlaying = false;
    this.speed = 1;
    this.box = null;
    this.inFlight = 0;
    this.steps = []; // how long steps took, for those who measure
  }
  load(video) {
    this.video = video;
    this.n = video.n_frames || 0;
    byId('scrub').max = Math.max(0, this.n - 1);
    if (this.n) {
      this.canvas.width = Math.round(video.width_px * (video.pixel_aspect || 1));
      this.canvas.height = video.height_px;
    }
  }
  time(n) {
    const run = this.video.runs.findLast((r) => r[0] <= n) || this.video.runs[0];
    return run[1] + (n - run[0]) * run[2];
  }
  frameAt(time) {
    const run = this.video.runs.findLast((r) => r[1] <= time + 0.0005) || this.video.runs[0];
    const next = this.video.runs[this.video.runs.indexOf(run) + 1];
    const last = (next ? next[0] : this.n) - 1;
    const n = run[2] > 0 ? run[0] + Math.floor((time + 0.0005 - run[1]) / run[2]) : run[0];
    return Math.min(Math.max(n, 0), last);
  }
  get now() { return this.n ? this.time(this.at) : 0; }
  url(n, way) { return `/frame?n=${n}&way=${way}&v=${this.video.mark.slice(0, 12)}`; }
  fetch(n, way) {
    let image = this.images.get(n);
    if (!image) {
      image = new Image();
      image.src = this.url(n, way);
      this.inFlight++;
      image.ready = new Promise((done, failed) => { image.onload = () => done(image); image.onerror = failed; });
      image.ready.catch(() => this.images.delete(n)).finally(() => { this.inFlight--; });
      this.images.set(n, image);
      for (const old of this.images.keys()) {
        if (this.images.size <= KEPT) break;
        this.images.delete(old);
      }
    }
    return image.ready;
  }
  async show(n, way = 0) {
    if (!this.n) return;
    n = Math.min(Math.max(Math.round(n), 0), this.n - 1);
    this.at = n;
    const begun = performance.now();
    this.onMove(n, this.time(n));
    try {
      const image = await this.fetch(n, way);
      if (this.at === n) {
        this.draw(image);
        this.shown = n;
      }
      this.steps.push(performance.now() - begun);
      if (this.steps.length > 2000) this.steps.shift();
      if (this.at === n && way) for (let k = 1; k <= AHEAD; k++) this.ahead(n + k * way, way);
    } catch {
      if (this.at === n) this.missing();
    }
  }
  ahead(n, way) { if (n >= 0 && n < this.n && this.inFlight < AT_ONCE) this.fetch(n, way).catch(() => {}); }
  draw(image) {
    const pen = this.canvas.getContext('2d');
    pen.drawImage(image, 0, 0, this.canvas.width, this.canvas.height);
    this.image = image;
    if (this.box) {
      pen.strokeStyle = '#ffd166';
      pen.lineWidth = 2;
      pen.strokeRect(...this.box);
    }
    this.canvas.setAttribute('aria-label', `The picture at ${clockTime(this.time(this.at))}`);
    this.canvas.dataset.frame = this.at;
  }
  missing() {
    const pen = this.canvas.getContext('2d');
    pen.fillStyle = '#0b0f11';
    pen.fillRect(0, 0, this.canvas.width, this.canvas.height);
    pen.fillStyle = '#f2eee4';
    pen.font = '16px sans-serif';
    pen.fillText('Nothing can be shown at this place.', 20, 40);
  }
  step(frames) { this.pause(); return this.show(this.at + frames, Math.sign(frames) * Math.min(Math.abs(frames), 16)); }
  toTime(time) { this.pause(); return this.show(this.frameAt(time), 0); }
  toggle() { return this.isPlaying ? this.pause() : this.play(); }
  pause() {
    this.isPlaying = false;
    byId('play').textContent = 'Play';
  }
  async play() {
    if (!this.n) return;
    this.isPlaying = true;
    byId('play').textContent = 'Pause';
    let from = this.at >= this.n - 1 ? 0 : this.at;
    let begun = performance.now(), speed = this.speed;
    const rate = 1 / (this.video.runs[0][2] || 0.04);
    const run = {};
    this.run = run;
    while (this.isPlaying && this.run === run) {
      if (speed !== this.speed) { from = this.at; begun = performance.now(); speed = this.speed; }
      const want = from + Math.floor(((performance.now() - begun) / 1000) * rate * speed);
      if (want >= this.n - 1) { await this.show(this.n - 1, 1); this.pause(); break; }
      if (want !== this.at) await this.show(want, Math.max(1, Math.round(speed)));
      await new Promise((done) => requestAnimationFrame(done));
    }
  }
}
