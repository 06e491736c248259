// The list of what was put right by hand: a new entry takes the place of one about the same
// thing, each can be undone, and the program works everything out again.
import { attempt, send } from './api.js';
import { fill, say } from './words.js';

const same = (a, b) => a.kind === b.kind && a.view === b.view
  && (a.kind !== 'event' || a.event === b.event)
  && (a.kind !== 'point' || (a.joint === b.joint && a.frame === b.frame));

export class Corrections {
  constructor(place, list, changed) {
    Object.assign(this, { api: place.dataset.check, list, changed });
    this.place = place.querySelector('.by-hand');
    this.place.addEventListener('click', (event) => {
      const button = event.target.closest('button');
      if (button) attempt(() => this.put(this.list.filter((_, i) => i !== Number(button.dataset.index))));
    });
    this.show();
  }

  /** Takes the last one back. */
  undo() {
    return this.list.length ? this.put(this.list.slice(0, -1)) : undefined;
  }

  /** Takes back every entry of a kind for a view. */
  without(kind, view) {
    return this.put(this.list.filter((entry) => entry.kind !== kind || entry.view !== view));
  }

  has(kind, view) {
    return this.list.some((entry) => entry.kind === kind && entry.view === view);
  }

  add(entry) {
    return this.put([...this.list.filter((old) => !same(old, entry)), entry]);
  }

  /** Shows the list at once and stores it after what is still on its way: two quick touches must
   *  not overtake each other. */
  put(list) {
    const before = this.list;
    this.list = list;
    this.show();
    const stored = (this.storing ?? Promise.resolve()).then(() => this.store(list, before));
    this.storing = stored.catch(() => {});
    return stored;
  }

  async store(list, before) {
    try {
      await send('PUT', `${this.api}/corrections`, list);
    } catch (error) {
      if (this.list === list) {
        this.list = before;
        this.show();
      }
      throw error;
    } finally {
      await this.changed();
    }
  }

  show() {
    if (!this.list.length) {
      const none = document.createElement('li');
      none.className = 'empty';
      none.textContent = say('check.none_by_hand');
      this.place.replaceChildren(none);
      return;
    }
    this.place.replaceChildren(...this.list.map((entry, index) => {
      const row = document.createElement('li');
      const words = document.createElement('span');
      const undo = document.createElement('button');
      words.textContent = told(entry);
      undo.type = 'button';
      undo.textContent = say('check.undo');
      undo.dataset.index = index;
      undo.setAttribute('aria-label', fill('check.undo_of', { what: words.textContent }));
      row.append(words, undo);
      return row;
    }));
  }
}

const inches = () => document.querySelector('.tools')?.dataset.unit === 'inches';
const shown = (metres) => (inches() ? `${Number((metres / 0.0254).toFixed(1))} in` : `${Number(metres.toFixed(3))} m`);

/** Along the target line, then toward the ball. */
const sides = (marks) => ['target_m', 'ball_m']
  .map((along) => marks.map((mark) => mark[along]))
  .map((places) => shown(Math.max(...places) - Math.min(...places)))
  .join(' \u00d7 ');

function told(entry) {
  const view = entry.view ? say(`view.${entry.view}`) : '';
  return fill(`by_hand.${entry.kind}`, {
    view,
    event: entry.event ? say(`event.${entry.event}`) : '',
    joint: entry.joint ? say(`joint.${entry.joint}`) : '',
    frame: entry.frame ?? '',
    length: entry.length_m ? shown(entry.length_m) : '',
    sides: entry.marks ? sides(entry.marks) : '',
    handed: entry.handed ? say(`hand.${entry.handed}`) : '',
  });
}
