// What a touch on the picture does: move a point, mark a length, a vertical, the target line, or
// pick the pupil. A point moves by as much as the finger, so that the finger need not cover it.
import { notice } from './api.js';
import { pixel, scale } from './marks.js';
import { say } from './words.js';

/** A finger counts as on a mark within this many CSS pixels. */
const REACH = 44;
/** Arrow keys wait this long for the next one before the change is sent. */
const REST_MS = 500;

export class Tools {
  constructor(walker) {
    this.walker = walker;
    this.held = {};
    this.ends = [];
    const { svg, form } = walker;
    svg.addEventListener('pointerdown', (event) => this.down(event));
    svg.addEventListener('keydown', (event) => this.nudge(event));
    svg.addEventListener('focusin', (event) => this.choose(event.target.dataset.joint));
    form.addEventListener('change', (event) => {
      if (event.target.name === 'tool') this.begin();
    });
    this.begin();
  }

  get tool() {
    return this.walker.form.querySelector('[name=tool]:checked').value;
  }

  begin() {
    this.ends = [];
    this.walker.place.dataset.tool = this.tool;
    this.walker.place.querySelector('.hint').textContent = say(`hint.${this.tool}`);
    if (this.walker.frames) this.walker.draw();
  }

  choose(joint) {
    if (!joint || joint === this.joint) return;
    this.joint = joint;
    for (const mark of this.walker.svg.querySelectorAll('.handle')) {
      mark.classList.toggle('chosen', mark.dataset.joint === joint);
    }
  }

  points() {
    return { ...this.walker.points.get(this.walker.index)?.points, ...this.held };
  }

  nearest(at) {
    const drawn = [...this.walker.svg.querySelectorAll('[data-joint]')].map((m) => m.dataset.joint);
    const points = this.points();
    const far = (joint) => Math.hypot(points[joint][0] - at[0], points[joint][1] - at[1]);
    const [best] = drawn.sort((a, b) => far(a) - far(b));
    return best && far(best) < REACH * scale(this.walker.svg) ? best : undefined;
  }

  down(event) {
    const at = pixel(this.walker.svg, event);
    if (this.tool === 'person') return this.person(at);
    if (this.tool !== 'move') return this.mark(at);
    const joint = this.nearest(at);
    if (!joint) return undefined;
    event.preventDefault();
    this.choose(joint);
    return this.drag(event, joint, at);
  }

  drag(event, joint, from) {
    const { svg } = this.walker;
    const start = this.points()[joint];
    svg.setPointerCapture(event.pointerId);
    svg.onpointermove = (e) => {
      const at = pixel(svg, e);
      this.held = { [joint]: [start[0] + at[0] - from[0], start[1] + at[1] - from[1]] };
      this.walker.draw();
    };
    svg.onpointerup = svg.onpointercancel = () => {
      svg.onpointermove = svg.onpointerup = svg.onpointercancel = null;
      this.sendPoint();
    };
  }

  nudge(event) {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const joint = event.target.dataset?.joint;
    if (!way || !joint) return;
    event.preventDefault();
    event.stopPropagation();
    const step = event.shiftKey ? 10 : 1;
    const [x, y] = this.points()[joint];
    this.held = { [joint]: [x + way[0] * step, y + way[1] * step] };
    this.walker.draw();
    clearTimeout(this.rest);
    this.rest = setTimeout(() => this.sendPoint(), REST_MS);
  }

  sendPoint() {
    const [joint] = Object.keys(this.held);
    if (!joint) return;
    const at = this.held[joint].map((v) => Math.round(v * 10) / 10);
    this.walker.correct({ kind: 'point', view: this.walker.view, frame: this.walker.index, joint, at });
  }

  /** Two touches make a line. */
  mark(at) {
    this.ends.push(at.map((v) => Math.round(v * 10) / 10));
    this.walker.draw();
    if (this.ends.length < 2) return;
    const [from, to] = this.ends;
    const entry = { kind: this.tool, view: this.walker.view, from, to };
    this.ends = [];
    if (this.tool === 'reference') {
      const length = this.walker.lengthTyped();
      if (!length) {
        notice(say('check.no_length'));
        this.walker.draw();
        return;
      }
      entry.length_m = Math.round(length * 10000) / 10000;
      entry.place = this.walker.form.elements.place.value;
    }
    this.walker.correct(entry);
  }

  person(at) {
    const entry = { kind: 'person', view: this.walker.view, frame: this.walker.index, at: at.map(Math.round) };
    notice(say('check.measured_again'));
    this.walker.correct(entry);
  }

  /** Lines to draw: those on record for this view, and the one being marked. */
  lines() {
    const done = (this.walker.corrections?.list ?? []).filter((c) => c.from && c.view === this.walker.view);
    return this.ends.length ? [...done, { from: this.ends[0] }] : done;
  }

  release() {
    this.held = {};
  }
}
