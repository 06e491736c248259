// Clips come in: dropped anywhere on the page, chosen, or pasted. Two travel at a time.
import { api, notice } from './api.js';
import { fill, say } from './words.js';
import { refresh } from './live.js';

const TOGETHER = 2;
const waiting = [];
let travelling = 0;

export function start() {
  const intake = document.querySelector('[data-intake]');
  const picker = intake.querySelector('input[type=file]');
  picker.addEventListener('change', () => {
    take(picker.files);
    picker.value = '';
  });
  addEventListener('dragover', (event) => {
    event.preventDefault();
    intake.classList.add('over');
  });
  addEventListener('dragleave', (event) => {
    if (!event.relatedTarget) intake.classList.remove('over');
  });
  addEventListener('drop', (event) => {
    event.preventDefault();
    intake.classList.remove('over');
    take(event.dataTransfer?.files ?? []);
  });
  addEventListener('paste', (event) => {
    if (event.clipboardData?.files.length) take(event.clipboardData.files);
  });
}

function take(files) {
  const most = Number(document.querySelector('[data-intake]').dataset.most);
  for (const file of files) {
    const row = addRow(file.name);
    if (file.size === 0) row.fail(say('upload.empty'));
    else if (file.size > most) row.fail(fill('upload.too_large', { most: (most / 1e9).toFixed(1) }));
    else waiting.push({ file, row });
  }
  next();
}

function next() {
  while (travelling < TOGETHER && waiting.length > 0) {
    const { file, row } = waiting.shift();
    if (row.gone) continue;
    travelling += 1;
    upload(file, row);
  }
}

function upload(file, row) {
  const request = new XMLHttpRequest();
  row.cancel = () => request.abort();
  request.open('POST', `${api('clips')}?name=${encodeURIComponent(file.name)}`);
  request.setRequestHeader('Content-Type', 'application/octet-stream');
  request.upload.onprogress = (event) => row.progress(event.loaded / event.total);
  request.onload = () => {
    if (request.status < 300) row.done();
    else row.fail(messageOf(request));
    refresh();
  };
  request.onerror = () => row.fail(messageOf(request) || say('failure.gone'));
  request.onabort = () => row.done();
  request.onloadend = () => {
    travelling -= 1;
    next();
  };
  request.send(file);
}

function messageOf(request) {
  try {
    return JSON.parse(request.responseText).message;
  } catch {
    return request.status ? say('upload.refused') : '';
  }
}

function addRow(name) {
  const item = document.createElement('li');
  const words = document.createElement('p');
  const bar = document.createElement('progress');
  const button = document.createElement('button');
  words.textContent = fill('upload.sending', { name });
  bar.max = 1;
  bar.value = 0;
  bar.setAttribute('aria-label', words.textContent);
  button.type = 'button';
  button.textContent = say('bench.cancel');
  button.setAttribute('aria-label', fill('upload.cancel', { name }));
  item.append(words, bar, button);
  document.querySelector('.uploads').append(item);
  const row = {
    gone: false,
    cancel: () => row.done(),
    progress: (share) => { bar.value = share; },
    done: () => {
      row.gone = true;
      item.remove();
    },
    fail: (message) => {
      words.className = 'trouble';
      words.textContent = `${name}: ${message}`;
      bar.remove();
      button.textContent = say('upload.dismiss');
      button.setAttribute('aria-label', fill('upload.dismiss_of', { name }));
      row.cancel = () => row.done();
      notice(words.textContent);
    },
  };
  button.addEventListener('click', () => row.cancel());
  return row;
}
