// What a touch on the picture does: move a point, mark a length, a vertical, the target line, a
// rectangle on the ground, or pick the pupil. A point moves by as much as the finger, so that the
// finger need not cover it. Without a pointer a cross is moved with the arrow keys.
import { attempt, notice } from './api.js';
import { pixel, scale } from './marks.js';
import { say } from './words.js';

/** A finger counts as on a mark within this many CSS pixels. */
const REACH = 44;
/** Arrow keys wait this long for the next one before the change is sent. */
const REST_MS = 500;
/** Touches that make a mark. */
const TOUCHES = { reference: 2, vertical: 2, target_line: 2, ground: 4, person: 1 };

const tenths = (at) => at.map((v) => Math.round(v * 10) / 10);

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
    form.addEventListener('click', (event) => {
      // Touching a chosen tool again starts its mark anew.
      if (event.target.name === 'tool') this.begin();
      if (event.target.name === 'rod') this.lookForRod(event.target.checked);
    });
    this.begin();
  }

  get tool() {
    return this.walker.form.querySelector('[name=tool]:checked').value;
  }

  begin() {
    this.ends = [];
    this.walker.place.dataset.tool = this.tool;
    const [width, height] = this.walker.track.size;
    this.cross = this.tool === 'move' ? undefined : this.cross ?? [width / 2, height / 2];
    this.next();
  }

  /** Says what the next touch is for. */
  next() {
    const step = this.tool === 'ground' ? `.${this.ends.length + 1}` : '';
    this.walker.place.querySelector('.hint').textContent = say(`hint.${this.tool}${step}`);
    if (this.walker.frames) this.walker.draw();
  }

  /** Takes the last touch of an unfinished mark back; false where there is none. */
  takeBack() {
    if (!this.ends.length) return false;
    this.ends.pop();
    this.next();
    return true;
  }

  lookForRod(wanted) {
    const { corrections, view } = this.walker;
    if (wanted) attempt(() => corrections.without('no_rod', view));
    else this.walker.correct({ kind: 'no_rod', view });
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
    const { joint, cross } = event.target.dataset;
    if (cross !== undefined) this.moveCross(event, way);
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

  moveCross(event, way) {
    const marks = ['Enter', ' '].includes(event.key);
    if (!way && !marks) return;
    event.preventDefault();
    event.stopPropagation();
    if (marks) {
      this.mark(this.cross);
      return;
    }
    const step = event.shiftKey ? 10 : 1;
    const [x, y] = this.cross.map((v, i) => v + way[i] * step);
    const [width, height] = this.walker.track.size;
    this.cross = [Math.max(0, Math.min(width, x)), Math.max(0, Math.min(height, y))];
    this.walker.draw();
  }

  /** A touch that is one of a mark's; the last one makes it. */
  mark(at) {
    const said = this.said();
    if (!said) return;
    this.ends.push(tenths(at));
    if (this.ends.length < TOUCHES[this.tool]) {
      this.next();
      return;
    }
    const entry = { kind: this.tool, view: this.walker.view, ...this.shape(this.ends, said) };
    this.begin();
    if (this.tool === 'person') notice(say('check.measured_again'));
    else this.walker.place.querySelector('.hint').textContent = say('hint.marked');
    this.walker.correct(entry);
  }

  /** What is typed beside the picture, asked for before the first touch; undefined where it is
   *  lacking. */
  said() {
    const { walker } = this;
    const known = (name) => Math.round((walker.metres(name) ?? 0) * 10000) / 10000;
    if (this.tool === 'reference') {
      const length = known('length');
      if (length) return { length_m: length, place: walker.form.elements.place.value };
      notice(say('check.no_length'));
      return undefined;
    }
    if (this.tool === 'ground') {
      const sides = ['side_target', 'side_ball'].map(known);
      if (sides.every(Boolean)) return sides;
      notice(say('check.no_sides'));
      return undefined;
    }
    return {};
  }

  shape(ends, said) {
    if (this.tool === 'person') return { frame: this.walker.index, at: ends[0].map(Math.round) };
    if (this.tool !== 'ground') return { from: ends[0], to: ends[1], ...said };
    const [along, toward] = said;
    // Once around, as the hints ask: the pupil's side first, then the ball's.
    const places = [[0, 0], [along, 0], [along, toward], [0, toward]];
    return { marks: ends.map((at, i) => ({ at, target_m: places[i][0], ball_m: places[i][1] })) };
  }

  /** What to draw: marks on record for this view, and the one being made. */
  marked() {
    const { corrections, view } = this.walker;
    const here = (corrections?.list ?? []).filter((entry) => entry.view === view);
    const lines = here.filter((entry) => entry.from).map(({ from, to }) => ({ ends: [from, to] }));
    const ground = here.filter((entry) => entry.marks)
      .map(({ marks }) => ({ ends: marks.map((mark) => mark.at), closed: true, numbered: true }));
    const making = { ends: this.ends, numbered: this.tool === 'ground' };
    return [...lines, ...ground, making];
  }

  release() {
    this.held = {};
    this.walker.form.elements.rod.checked = !this.walker.corrections.has('no_rod', this.walker.view);
  }
}
