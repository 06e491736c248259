// The check: walks through the clip, shows the marks, and sends what is put right.
import { attempt, notice, send } from './api.js';
import { Corrections } from './corrections.js';
import { freshen } from './drawing.js';
import { Frames } from './frames.js';
import { lengthTyped } from './forms.js';
import { refresh } from './live.js';
import { draw, scale } from './marks.js';
import { TimeBar } from './timebar.js';
import { Tools } from './tools.js';
import { fill, say } from './words.js';

const SLOW = 6;
const MARK_PX = 9;

class Walker {
  constructor(place) {
    this.place = place;
    this.view = place.dataset.view;
    this.api = place.dataset.check;
    this.index = 0;
    this.svg = place.querySelector('.marks');
    this.shot = place.querySelector('.shot');
    this.stage = place.querySelector('.stage');
    this.form = place.querySelector('.tools');
    this.points = new Map();
  }

  async start() {
    await this.readTrack();
    this.frames = new Frames(this.api, this.view, this.track.frame_count, this.shot);
    this.bar = new TimeBar(this.place.querySelector('.bar'), this);
    this.bar.set(this.track.events, this.track.frame_count);
    this.corrections = new Corrections(this.place, JSON.parse(this.place.dataset.corrections), () => this.changed());
    this.tools = new Tools(this);
    this.listen();
    await this.go(this.track.events.top ?? 0);
  }

  async readTrack() {
    this.track = await send('GET', `${this.api}/track/${this.view}`);
    this.points = new Map(this.track.frames.map((f) => [f.index, f]));
    const [w, h] = this.track.size;
    this.stage.style.setProperty('--ratio', h / w);
  }

  listen() {
    this.place.addEventListener('click', (event) => {
      const button = event.target.closest('button');
      if (button?.dataset.jump) this.go(this.track.events[button.dataset.jump]);
      const act = ACTS[button?.dataset.does];
      if (act) act(this);
    });
    document.addEventListener('keydown', (event) => this.key(event));
    this.form.addEventListener('change', () => this.draw());
    addEventListener('resize', () => this.draw());
  }

  key(event) {
    if (event.defaultPrevented || event.altKey || event.target.matches('[type=text], select, textarea')) return;
    if ((event.ctrlKey || event.metaKey) && event.key === 'z') {
      event.preventDefault();
      if (!this.tools.takeBack()) attempt(() => this.corrections.undo());
      return;
    }
    if (event.ctrlKey || event.metaKey || event.target.matches('input')) return;
    if (event.key === 'Escape') this.tools.begin();
    const act = { ArrowLeft: 'back', ArrowRight: 'forth', ' ': 'play' }[event.key];
    if (!act || (event.key === ' ' && event.target.matches('button, a, summary'))) return;
    event.preventDefault();
    ACTS[act](this);
  }

  async go(index) {
    if (index === undefined) return;
    const to = Math.max(0, Math.min(this.track.frame_count - 1, index));
    const way = Math.sign(to - this.index);
    this.index = to;
    this.bar.show(to);
    try {
      if (await this.frames.show(to, way)) this.draw();
    } catch (error) {
      notice(error.message || say('failure.frame'));
    }
  }

  draw() {
    const unit = MARK_PX * scale(this.svg);
    const shown = Object.fromEntries(['skeleton', 'trunk', 'upright'].map((n) => [n, this.form.elements[n].checked]));
    const frame = this.points.get(this.index);
    draw(this.svg, {
      size: this.track.size,
      points: frame && { ...frame.points, ...this.tools?.held },
      roll: this.track.roll ?? 0,
      shown,
      chosen: this.tools?.joint,
      marked: this.tools?.marked() ?? [],
      rod: this.track.rod,
      at: this.tools?.cross,
      unit,
    });
    const here = Object.entries(this.track.events).find(([, index]) => index === this.index);
    const words = fill('check.where', { index: this.index, count: this.track.frame_count - 1 });
    const time = frame ? `, ${frame.t.toFixed(3)} s` : '';
    this.place.querySelector('.where').textContent = here ? `${say(`event.${here[0]}`)}: ${words}${time}` : words + time;
    for (const jump of this.place.querySelectorAll('[data-jump]')) {
      jump.setAttribute('aria-pressed', String(jump.dataset.jump === here?.[0]));
    }
    if (here) {
      this.form.ownerDocument.querySelector('[name=event]').value = here[0];
      const moment = document.querySelector(`.numbers [name=moment][value="${here[0]}"]`);
      if (moment) moment.checked = true;
    }
  }

  setEvent(event, index) {
    const frame = Math.max(0, Math.min(this.track.frame_count - 1, index));
    return this.correct({ kind: 'event', view: this.view, event, frame });
  }

  correct(entry) {
    return attempt(() => this.corrections.add(entry));
  }

  /** After a change: numbers, track and pictures as the program has them now. */
  async changed() {
    await refresh();
    // A correction may contradict the rest: then the page says so, and nothing else is there to read.
    if (!this.place.querySelector('.told .said .trouble')) {
      await this.readTrack().catch(() => {});
      freshen();
    }
    this.bar.set(this.track.events, this.track.frame_count);
    this.bar.show(this.index);
    this.tools.release();
    this.draw();
    this.place.dataset.changes = String(Number(this.place.dataset.changes ?? 0) + 1);
  }

  /** Metres in a field; undefined where it is no length. */
  metres(name) {
    const text = lengthTyped(this.form.querySelector(`[name=${name}]`).value, this.form.dataset.unit);
    const parts = text.match(/^([\d.]+)(mm|cm|m|in)$/) ?? text.match(/^(\d+)ft(?:([\d.]+)in)?$/);
    if (!parts) return undefined;
    if (text.includes('ft')) return (Number(parts[1]) * 12 + Number(parts[2] ?? 0)) * 0.0254;
    return Number(parts[1]) * { mm: 0.001, cm: 0.01, m: 1, in: 0.0254 }[parts[2]];
  }

  async play() {
    if (this.playing) {
      this.playing = false;
      return;
    }
    this.playing = true;
    this.place.querySelector('[data-does=play]').setAttribute('aria-pressed', 'true');
    while (this.playing && this.index < Math.min(this.bar.last, this.track.frame_count - 1)) {
      const now = this.points.get(this.index)?.t;
      const next = this.points.get(this.index + 1)?.t;
      const pause = now !== undefined && next !== undefined ? (next - now) * 1000 * SLOW : 60;
      const rest = new Promise((done) => { setTimeout(done, Math.min(400, pause)); });
      await this.go(this.index + 1);
      await rest;
    }
    this.playing = false;
    this.place.querySelector('[data-does=play]').setAttribute('aria-pressed', 'false');
  }
}

const ACTS = {
  back: (w) => w.go(w.index - 1),
  forth: (w) => w.go(w.index + 1),
  back10: (w) => w.go(w.index - 10),
  forth10: (w) => w.go(w.index + 10),
  play: (w) => w.play(),
  'set-event': (w) => w.setEvent(document.querySelector('[name=event]').value, w.index),
};

export async function start() {
  const place = document.querySelector('[data-check]');
  if (!place) return;
  if (place.querySelector('.stage')) await new Walker(place).start();
  // No numbers, perhaps because of a correction: each can still be undone.
  else new Corrections(place, JSON.parse(place.dataset.corrections), () => location.reload());
}
