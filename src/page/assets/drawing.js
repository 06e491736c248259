// Drawings come as SVG in the width there is, and take the page's colours.
import { say } from './words.js';

const inside = (place) => Math.max(320, Math.min(760, Math.round(place.clientWidth)));

export async function draw(place) {
  const address = new URL(place.dataset.drawing, location.href);
  const width = inside(place);
  place.dataset.width = width;
  address.searchParams.set('width', width);
  const reply = await fetch(address);
  if (!reply.ok) return tell(place, (await reply.json().catch(() => ({}))).message);
  const svg = new DOMParser().parseFromString(await reply.text(), 'image/svg+xml').documentElement;
  if (svg.nodeName !== 'svg') return tell(place);
  svg.setAttribute('role', 'img');
  if (!svg.getAttribute('aria-label')) svg.setAttribute('aria-label', place.dataset.words);
  place.replaceChildren(document.importNode(svg, true));
  return undefined;
}

function tell(place, message) {
  const line = document.createElement('p');
  line.className = 'empty';
  line.textContent = message || say('failure.drawing');
  place.replaceChildren(line);
}

export function drawAll() {
  for (const place of document.querySelectorAll('[data-drawing]')) draw(place).catch(() => tell(place));
}

/** Pictures that a correction changes are asked for again. */
export function freshen() {
  const stamp = Date.now().toString(36);
  for (const image of document.querySelectorAll('img[data-fresh]')) {
    const address = new URL(image.src, location.href);
    address.searchParams.set('v', stamp);
    image.src = address.href;
  }
  drawAll();
}

export function start() {
  drawAll();
  let later;
  addEventListener('resize', () => {
    clearTimeout(later);
    later = setTimeout(() => {
      for (const place of document.querySelectorAll('[data-drawing]')) {
        if (Math.abs(Number(place.dataset.width) - inside(place)) > 24) draw(place).catch(() => tell(place));
      }
    }, 300);
  });
  document.addEventListener('change', (event) => {
    const place = event.target.closest('section')?.querySelector('[data-drawing]');
    if (!place || !['over', 'key'].includes(event.target.name)) return;
    const address = new URL(place.dataset.drawing, location.href);
    address.searchParams.set(event.target.name, event.target.value);
    if (!event.target.value) address.searchParams.delete(event.target.name);
    place.dataset.drawing = address.pathname + address.search;
    draw(place).catch(() => tell(place));
  });
  document.addEventListener('input', (event) => {
    const top = event.target.closest('.over')?.querySelector('.upper-sheet');
    if (top && event.target.type === 'range') top.style.opacity = String(event.target.value / 100);
  });
}
