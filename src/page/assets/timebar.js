// The time bar: where the picture is, and the events as flags that can be dragged.
import { fill, say } from './words.js';

const MARGIN = 0.06;

export class TimeBar {
  constructor(bar, walker) {
    Object.assign(this, { bar, walker, events: {} });
    this.now = document.createElement('span');
    this.now.className = 'now';
    this.flags = document.createElement('div');
    this.flags.className = 'flags';
    bar.append(this.now);
    bar.after(this.flags);
    bar.addEventListener('pointerdown', (event) => this.scrub(event));
    bar.addEventListener('keydown', (event) => this.key(event));
  }

  /** The bar spans the swing with some air, so that a gloved finger finds single pictures. */
  set(events, count) {
    this.events = events;
    const at = Object.values(events);
    const [first, last] = at.length ? [Math.min(...at), Math.max(...at)] : [0, count - 1];
    const air = Math.max(4, Math.round((last - first) * MARGIN));
    this.first = Math.max(0, first - air);
    this.last = Math.min(count - 1, last + air);
    this.bar.setAttribute('aria-valuemin', 0);
    this.bar.setAttribute('aria-valuemax', count - 1);
    this.flags.replaceChildren(...Object.entries(events).map(([event, index], i) => this.flag(event, index, i)));
  }

  share(index) {
    return Math.max(0, Math.min(1, (index - this.first) / Math.max(1, this.last - this.first)));
  }

  show(index) {
    this.now.style.left = `${100 * this.share(index)}%`;
    this.bar.setAttribute('aria-valuenow', index);
    this.bar.setAttribute('aria-valuetext', fill('check.at', { index }));
    for (const flag of this.flags.children) flag.classList.toggle('here', this.events[flag.dataset.event] === index);
  }

  indexAt(event) {
    const box = this.bar.getBoundingClientRect();
    const share = Math.max(0, Math.min(1, (event.clientX - box.left) / box.width));
    return Math.round(this.first + share * (this.last - this.first));
  }

  scrub(event) {
    event.preventDefault();
    this.bar.focus();
    this.bar.setPointerCapture(event.pointerId);
    const move = (e) => this.walker.go(this.indexAt(e));
    move(event);
    this.bar.onpointermove = move;
    this.bar.onpointerup = () => { this.bar.onpointermove = null; };
  }

  key(event) {
    const to = { Home: this.first, End: this.last, PageUp: this.walker.index + 10, PageDown: this.walker.index - 10 }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    this.walker.go(to);
  }

  flag(name, index, i) {
    const flag = document.createElement('button');
    flag.type = 'button';
    flag.dataset.event = name;
    flag.className = i % 2 ? 'flag low' : 'flag';
    flag.style.left = `${100 * this.share(index)}%`;
    flag.setAttribute('aria-label', fill('check.flag', { event: say(`event.${name}`), index }));
    flag.title = say(`event.${name}`);
    const label = document.createElement('span');
    label.textContent = say(`event.${name}`);
    flag.append(label);
    flag.addEventListener('pointerdown', (event) => this.drag(event, flag, name, index));
    flag.addEventListener('keydown', (event) => {
      const way = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (!way) return;
      event.preventDefault();
      event.stopPropagation();
      this.walker.setEvent(name, this.events[name] + way);
    });
    flag.addEventListener('click', () => this.walker.go(this.events[name]));
    return flag;
  }

  drag(event, flag, name, index) {
    const from = event.clientX;
    let to = index;
    flag.setPointerCapture(event.pointerId);
    flag.onpointermove = (e) => {
      const width = this.bar.getBoundingClientRect().width;
      const moved = Math.round(((e.clientX - from) / width) * (this.last - this.first));
      to = Math.max(0, index + moved);
      flag.style.left = `${100 * this.share(to)}%`;
      this.walker.go(to);
    };
    flag.onpointerup = flag.onpointercancel = () => {
      flag.onpointermove = flag.onpointerup = flag.onpointercancel = null;
      if (to !== index) this.walker.setEvent(name, to);
    };
  }
}
