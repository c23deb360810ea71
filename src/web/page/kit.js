// Small tools: elements whose text is always text, lengths in people's unit, the way to the server.
export function h(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  return fill(node, attributes, children);
}
const SVG = 'http://www.w3.org/2000/svg';
export function s(tag, attributes = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}
function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith('on')) node.addEventListener(name.slice(2), value);
    else if (value === true) node.setAttribute(name, '');
    else if (value !== false && value !== null && value !== undefined) node.setAttribute(name, value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}
export const byId = (id) => document.getElementById(id);

export const unit = { name: 'm', perMetre: 1, decimals: 2 };
export function useUnit(name) {
  unit.name = name;
  unit.perMetre = name === 'ft' ? 1 / 0.3048 : 1;
}
export function length(metres, decimals = unit.decimals) {
  return metres === null || metres === undefined ? '–' : (metres * unit.perMetre).toFixed(decimals);
}
export const lengthUnit = (metres, decimals) => (metres === null || metres === undefined ? 'unknown' : `${length(metres, decimals)} ${unit.name}`);
export function metres(text) {
  const value = Number(String(text).trim().replace(',', '.'));
  return String(text).trim() === '' || !Number.isFinite(value) ? null : value / unit.perMetre;
}
export const money = (value) => Math.round(value).toLocaleString('en-GB').replace(/,/g, '\u202f');
export const clockTime = (seconds) => {
  const whole = Math.max(0, Math.floor(seconds));
  const pad = (n) => String(n).padStart(2, '0');
  return `${pad(Math.floor(whole / 3600))}:${pad(Math.floor(whole / 60) % 60)}:${pad(whole % 60)}.${Math.floor((seconds - whole) * 10)}`;
};

export class Refused extends Error {
  constructor(text, remedy, status) { super(remedy ? `${text}; ${remedy}` : text); this.status = status; }
}
async function answerOf(response) {
  if (response.status === 204) return null;
  const isJson = (response.headers.get('content-type') || '').startsWith('application/json');
  const body = isJson ? await response.json() : { error: (await response.text()).trim() };
  if (!response.ok) throw new Refused(body.error, body.remedy, response.status);
  return body;
}
export const get = async (path, options) => answerOf(await fetch(path, options));
export async function post(path, fields) {
  const body = new URLSearchParams();
  for (const [name, value] of Object.entries(fields)) if (value !== null && value !== undefined) body.set(name, value);
  return answerOf(await fetch(path, { method: 'POST', body }));
}

// Counter readings and places along the pipe, one from the other by the observations read off the picture.
export class Axis {
  constructor(pairs, unitName) {
    this.scale = unitName === 'ft' ? 0.3048 : 1;
    const seen = new Map(pairs.map(([reading, place]) => [reading, place]));
    this.knots = [...seen].sort((a, b) => a[0] - b[0]);
  }
  between(value, from, to, slope) {
    const knots = this.knots;
    if (knots.length === 0) return value * slope;
    let i = knots.findIndex((knot) => knot[from] >= value);
    if (i === 0) return knots[0][to] + (value - knots[0][from]) * slope;
    if (i < 0) { const last = knots[knots.length - 1]; return last[to] + (value - last[from]) * slope; }
    const [a, b] = [knots[i - 1], knots[i]];
    const span = b[from] - a[from];
    return span === 0 ? a[to] : a[to] + ((value - a[from]) / span) * (b[to] - a[to]);
  }
  place(reading) { return this.between(reading, 0, 1, this.scale); }
  reading(place) { return this.between(place, 1, 0, 1 / this.scale); }
}
