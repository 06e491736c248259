// What was found, drawn over the picture: hubs, trunk, skeleton, a vertical, and the lines that
// are being marked. Coordinates are pixels of the upright clip.
import { say, fill } from './words.js';

const SVG = 'http://www.w3.org/2000/svg';
const BONES = [
  ['lead_shoulder', 'trail_shoulder'], ['lead_hip', 'trail_hip'],
  ['lead_shoulder', 'lead_elbow'], ['lead_elbow', 'lead_wrist'],
  ['trail_shoulder', 'trail_elbow'], ['trail_elbow', 'trail_wrist'],
  ['lead_hip', 'lead_knee'], ['lead_knee', 'lead_ankle'],
  ['trail_hip', 'trail_knee'], ['trail_knee', 'trail_ankle'],
  ['lead_ankle', 'lead_toe'], ['trail_ankle', 'trail_toe'],
];
export const HUBS = ['lower_hub', 'upper_hub'];

export function make(name, attributes, inside = []) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...inside);
  return element;
}

const line = (from, to, name) => [`${name} rim`, name].map((style) =>
  make('line', { x1: from[0], y1: from[1], x2: to[0], y2: to[1], class: style }));

/** A hub's sign: a ring below, a diamond above, as on the stills. */
function sign(joint, [x, y], r) {
  if (joint === 'upper_hub') {
    const d = `M${x} ${y - r}L${x + r} ${y}L${x} ${y + r}L${x - r} ${y}Z`;
    return ['mark rim', 'mark upper'].map((style) => make('path', { d, class: style }));
  }
  const style = joint === 'lower_hub' ? 'mark lower' : 'mark joint';
  const radius = joint === 'lower_hub' ? r : r * 0.6;
  return ['mark rim', style].map((c) => make('circle', { cx: x, cy: y, r: radius, class: c }));
}

/** A mark that can be chosen, moved and reached with the keyboard. */
function handle(joint, at, size, chosen) {
  const name = fill('joint.at', { joint: say(`joint.${joint}`), x: Math.round(at[0]), y: Math.round(at[1]) });
  const reach = make('circle', { cx: at[0], cy: at[1], r: size * 2.4, class: 'reach' });
  const group = make('g', {
    class: joint === chosen ? 'handle chosen' : 'handle',
    tabindex: 0,
    role: 'button',
    'aria-label': name,
    'data-joint': joint,
  }, [reach, ...sign(joint, at, size)]);
  return group;
}

function upright(points, size, roll) {
  const [w, h] = size;
  const lean = [Math.sin(roll), -Math.cos(roll)];
  const [x, y] = points.lower_hub ?? [w / 2, h / 2];
  const end = (k) => [x + lean[0] * k, y + lean[1] * k];
  return line(end(-h * 0.2), end(h * 0.36), 'upright');
}

/** A line or a rectangle of the tools, as far as it is marked; corners count in their order. */
function ends({ ends: at, closed, numbered }, unit) {
  const parts = [];
  for (let i = 1; i < at.length; i += 1) parts.push(...line(at[i - 1], at[i], 'marked'));
  if (closed) parts.push(...line(at[at.length - 1], at[0], 'marked'));
  for (const [x, y] of at) {
    parts.push(...['end rim', 'end'].map((c) => make('circle', { cx: x, cy: y, r: unit * 0.7, class: c })));
  }
  if (numbered) {
    at.forEach(([x, y], i) => parts.push(make('text', { x, y: y - unit * 1.3, class: 'number', 'font-size': unit * 1.9 }, [String(i + 1)])));
  }
  return parts;
}

/** The place of the next mark for those without a pointer; seen only while it has the focus. */
function cross([x, y], unit) {
  const name = fill('cross.at', { x: Math.round(x), y: Math.round(y) });
  const arm = unit * 2;
  return make('g', { class: 'cross', tabindex: 0, role: 'button', 'aria-label': name, 'data-cross': '' }, [
    ...line([x - arm, y], [x + arm, y], 'marked'),
    ...line([x, y - arm], [x, y + arm], 'marked'),
  ]);
}

/** Draws everything for one picture. `shown` has the switches, `marked` what the tools marked,
 *  `at` the cross, `rod` what was found. */
export function draw(svg, { size, points, roll, shown, chosen, marked, rod, at, unit }) {
  const had = svg.contains(document.activeElement) ? document.activeElement.dataset : {};
  const parts = [];
  svg.setAttribute('viewBox', `0 0 ${size[0]} ${size[1]}`);
  if (points) {
    if (shown.upright) parts.push(...upright(points, size, roll));
    if (shown.skeleton) {
      for (const [a, b] of BONES) if (points[a] && points[b]) parts.push(...line(points[a], points[b], 'bone'));
    }
    if (shown.trunk && points.lower_hub && points.upper_hub) {
      parts.push(...line(points.lower_hub, points.upper_hub, 'trunk'));
    }
    const joints = shown.skeleton ? Object.keys(points) : HUBS;
    for (const joint of joints) if (points[joint] && !HUBS.includes(joint)) parts.push(handle(joint, points[joint], unit, chosen));
    for (const joint of HUBS) if (points[joint]) parts.push(handle(joint, points[joint], unit, chosen));
  }
  if (rod) parts.push(...line(rod[0], rod[1], 'rod'));
  for (const mark of marked) parts.push(...ends(mark, unit));
  if (at) parts.push(cross(at, unit));
  svg.replaceChildren(...parts);
  if (had.joint) svg.querySelector(`[data-joint="${had.joint}"]`)?.focus();
  if (had.cross !== undefined) svg.querySelector('[data-cross]')?.focus();
}

/** Screen to clip pixels, through the drawing's own scale. */
export function pixel(svg, event) {
  const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  return [p.x, p.y];
}

/** Clip pixels in one CSS pixel. */
export const scale = (svg) => 1 / (svg.getScreenCTM()?.a || 1);
