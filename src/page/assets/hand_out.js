// The hand-out: links and preview follow the switches; words and tasks are kept with the swing.
import { send } from './api.js';
import { say } from './words.js';

const place = document.querySelector('[data-hand-out]');
const form = place?.querySelector('form');
const preview = place?.querySelector('.sheet-picture');
const status = place?.querySelector('.preview [role=status]');
let later;

export function start() {
  if (!form) return;
  preview.addEventListener('load', () => { status.textContent = ''; });
  preview.addEventListener('error', () => { status.textContent = say('failure.sheet'); });
  form.addEventListener('change', keep);
  form.addEventListener('input', (event) => {
    if (event.target.name !== 'words') return;
    clearTimeout(later);
    later = setTimeout(() => keep(event), 900);
  });
  place.querySelector('.stills').addEventListener('change', setLinks);
  setLinks();
  show();
}

const tasks = () => [...form.querySelectorAll('[name=task]:checked')].map((box) => box.value);
const blur = () => (form.elements.blur.checked ? '1' : '0');

function sheetAddress(format) {
  const query = new URLSearchParams({
    after: place.dataset.handOut,
    paper: form.elements.paper.value,
    format,
    blur: blur(),
  });
  if (form.elements.before.value) query.set('before', form.elements.before.value);
  if (form.elements.words.value.trim()) query.set('words', form.elements.words.value.trim());
  if (tasks().length) query.set('tasks', tasks().join(','));
  return `${place.dataset.sheet}?${query}`;
}

function setLinks() {
  for (const link of place.querySelectorAll('[data-save-sheet]')) {
    link.href = sheetAddress(link.dataset.saveSheet);
  }
  const size = place.querySelector('.stills [name=size]:checked').value;
  for (const link of place.querySelectorAll('[data-save-still]')) {
    const end = size === 'full' ? 'png' : 'jpg';
    link.href = `${place.dataset.swingApi}/stills/${link.dataset.saveStill}.${end}?size=${size}&blur=${blur()}`;
  }
  for (const link of place.querySelectorAll('[data-save-clip]')) {
    link.href = `${link.dataset.saveClip}&blur=${blur()}`;
  }
}

function show() {
  status.textContent = say('page.loading');
  preview.src = sheetAddress('png');
}

async function keep(event) {
  clearTimeout(later);
  setLinks();
  show();
  const said = form.querySelector('.saved');
  if (!['words', 'task'].includes(event.target.name)) return;
  try {
    await send('PATCH', place.dataset.swingApi, { words: form.elements.words.value, tasks: tasks() });
    said.className = 'saved';
    said.textContent = say('saved.saved');
  } catch (error) {
    said.className = 'saved trouble';
    said.textContent = error.message;
  }
}
