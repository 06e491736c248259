// Keeps the page in step with the program: the page is asked for again and what changed is
// exchanged. What is being typed is never overwritten.
import { root } from './api.js';

const served = new Map();
const key = (element) => element.dataset.live;

function remember(place) {
  for (const part of place.querySelectorAll('[data-live]')) served.set(key(part), part.outerHTML);
}
remember(document);

let running = false;
let again = false;

/** Asks for this page again and exchanges what changed. */
export async function refresh() {
  if (running) {
    again = true;
    return;
  }
  running = true;
  try {
    do {
      again = false;
      const reply = await fetch(location.href, { headers: { Accept: 'text/html' } });
      if (reply.ok) exchange(new DOMParser().parseFromString(await reply.text(), 'text/html'));
    } while (again);
  } catch {
    // The program is gone or busy; the stream of events tells when it is back.
  } finally {
    running = false;
  }
  document.dispatchEvent(new CustomEvent('refreshed'));
}

function exchange(fresh) {
  for (const list of fresh.querySelectorAll('[data-list]')) exchangeItems(list);
  for (const part of fresh.querySelectorAll('[data-live]')) exchangePart(part);
  for (const form of fresh.querySelectorAll('form[data-save]')) fillIn(form);
  const [here, there] = ['.intake', '.intake'].map((s, i) => (i ? fresh : document).querySelector(s));
  if (here && there) here.className = there.className;
}

function exchangeItems(list) {
  const here = document.querySelector(`[data-list="${CSS.escape(list.dataset.list)}"]`);
  if (!here) return;
  const old = new Map([...here.children].map((child) => [child.dataset.item, child]));
  let before = here.firstElementChild;
  for (const item of [...list.children]) {
    const known = old.get(item.dataset.item);
    old.delete(item.dataset.item);
    if (known) describe(known, item);
    if (known && known === before) {
      before = before.nextElementSibling;
    } else if (known) {
      here.insertBefore(known, before);
    } else {
      remember(item);
      here.insertBefore(document.importNode(item, true), before);
    }
  }
  for (const gone of old.values()) gone.remove();
}

/** What scripts read off an item follows too: which clips a swing has, for one. */
function describe(here, fresh) {
  for (const { name, value } of fresh.attributes) {
    if (name.startsWith('data-')) here.setAttribute(name, value);
  }
}

function exchangePart(part) {
  const html = part.outerHTML;
  if (served.get(key(part)) === html) return;
  const here = document.querySelector(`[data-live="${CSS.escape(key(part))}"]`);
  if (!here) return;
  const focus = here.contains(document.activeElement) ? document.activeElement : null;
  if (focus && focus.matches('input, select, textarea')) return;
  served.set(key(part), html);
  const copy = document.importNode(part, true);
  if (here.tagName === 'DETAILS') copy.open = here.open;
  const inner = [...here.querySelectorAll('details')].map((d) => d.open);
  copy.querySelectorAll('details').forEach((d, i) => { if (inner[i]) d.open = true; });
  here.replaceWith(copy);
  if (focus) copy.querySelector('button, a, summary')?.focus();
}

/** Fields that nobody has touched take what the program proposes. */
function fillIn(form) {
  const here = document.querySelector(`form.${form.classList[0]}[data-save="${CSS.escape(form.dataset.save)}"]`);
  if (!here) return;
  for (const field of form.elements) {
    if (!field.name) continue;
    const mine = [...here.elements].find(
      (f) => f.name === field.name && (f.type !== 'radio' || f.value === field.value),
    );
    if (!mine || mine.dataset.touched || mine === document.activeElement) continue;
    if (mine.type === 'radio' || mine.type === 'checkbox') mine.checked = field.checked;
    else mine.value = field.value;
  }
}

/** Progress comes often and changes two things: they are set without asking again. */
function setProgress(clip) {
  const row = document.querySelector(`[data-clip="${CSS.escape(clip.id)}"]`);
  const bar = row?.querySelector('progress');
  if (!bar || !['looking', 'measuring'].includes(clip.state)) return false;
  bar.value = clip.share;
  return row.dataset.state === clip.state && Boolean(row.querySelector('img')) === clip.has_picture;
}

/** Listens to the program; `changed` hears of every object that is not mere progress. */
export function listen(changed) {
  const stream = new EventSource(`${root}api/events`);
  let lost = false;
  stream.onmessage = (message) => {
    let told;
    try {
      told = JSON.parse(message.data);
    } catch {
      return;
    }
    if (told.kind === 'clip' && setProgress(told)) return;
    changed(told);
  };
  stream.onerror = () => { lost = true; };
  stream.onopen = () => {
    if (lost) changed({ kind: 'bench' });
    lost = false;
  };
}
