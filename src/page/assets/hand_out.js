// The hand-out: links and preview follow the switches; words and tasks are kept with the swing.
import { send } from './api.js';
import { say } from './words.js';

const place = document.querySelector('[data-hand-out]');
const form = place?.querySelector('form');
const preview = place?.querySelector('.sheet-picture');
const status = place?.querySelector('.preview [role=status]');
let later;
let wanted = 0;

export function start() {
  if (!form) return;
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
  if (form.elements.same_setup.checked) query.set('same_setup', 'true');
  // Empty ones too: without them the sheet has those that were kept last.
  query.set('words', form.elements.words.value.trim());
  query.set('tasks', tasks().join(','));
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

/** The newest sheet that was asked for, or the program's own words why there is none. */
async function show() {
  wanted += 1;
  const turn = wanted;
  status.textContent = say('page.loading');
  let said = '';
  try {
    const reply = await fetch(sheetAddress('png'));
    if (!reply.ok) throw new Error((await reply.json()).message);
    const picture = await reply.blob();
    if (turn !== wanted) return;
    URL.revokeObjectURL(preview.src);
    preview.src = URL.createObjectURL(picture);
  } catch (error) {
    said = error.message || say('failure.sheet');
  }
  if (turn === wanted) status.textContent = said;
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
