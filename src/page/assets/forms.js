// What is typed is saved when it is left, and the page says so.
import { api, send } from './api.js';
import { say } from './words.js';
import { refresh } from './live.js';

/** `178` gets its unit, `5'10"` its words; anything else goes as typed. */
export function lengthTyped(text, unit) {
  const plain = text.replace(/\s+/g, '').replace(',', '.').replace(/(\d)\s*['′’]\s*/, '$1ft').replace(/["″”]$/, 'in');
  const feet = plain.replace(/^(\d+)ft(\d+(\.\d+)?)$/, '$1ft$2in');
  if (!/^\d+(\.\d+)?$/.test(feet)) return feet;
  if (unit === 'inches') return `${feet}in`;
  return Number(feet) < 3 ? `${feet}m` : `${feet}cm`;
}

export function start() {
  document.addEventListener('input', (event) => {
    if (event.target.closest('form[data-save]')) event.target.dataset.touched = '1';
  });
  document.addEventListener('change', (event) => {
    const form = event.target.closest('form[data-save]');
    if (form && !event.target.matches('[name=join]')) save(form, event.target);
  });
  document.addEventListener('submit', (event) => {
    if (event.target.matches('form[data-save], form.tools, form.sheet-form, form.filmed')) event.preventDefault();
  });
}

function valueOf(form, field) {
  if (field.type === 'checkbox') return field.checked;
  if (field.name === 'stature') return lengthTyped(field.value, form.dataset.unit);
  return field.value.trim();
}

/** What to send for a field; a name may end in the object it belongs to. */
function change(form, field) {
  const [name] = field.name.split('-');
  const value = valueOf(form, field);
  if (name === 'view') return { views: { [field.name.slice('view-'.length)]: value } };
  return { [name]: value };
}

async function save(form, field) {
  const said = form.querySelector('.saved');
  if (said) said.textContent = say('saved.saving');
  try {
    await sendChange(form, field);
    delete field.dataset.touched;
    field.removeAttribute('aria-invalid');
    if (said) {
      said.className = 'saved';
      said.textContent = say('saved.saved');
    }
  } catch (error) {
    field.setAttribute('aria-invalid', 'true');
    if (said) {
      said.className = 'saved trouble';
      said.textContent = error.message;
    }
  }
  await refresh();
  document.dispatchEvent(new CustomEvent('saved', { detail: field.name }));
}

async function sendChange(form, field) {
  if (field.name === 'tasks') return send('PUT', api('tasks'), { text: field.value });
  const body = change(form, field);
  // A new name: the pupil goes on record first.
  if (body.pupil && !isKnown(body.pupil)) await send('POST', api('pupils'), pupil(form, body.pupil));
  return send('PATCH', form.dataset.save, body);
}

// As the record compares names: A to Z in either case, all other letters as they are.
const folded = (name) => name.replace(/[A-Z]/g, (letter) => letter.toLowerCase());
const isKnown = (name) =>
  [...document.querySelectorAll('#pupil-names option')].some((option) => folded(option.value) === folded(name));

function pupil(form, name) {
  const stature = form.elements.stature?.value ?? '';
  return {
    name,
    stature: stature ? lengthTyped(stature, form.dataset.unit) : '',
    minor: form.elements.minor?.checked ?? false,
    keep_pictures: false,
    notes: '',
  };
}
