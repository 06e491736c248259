// The buttons of the bench: cancel, try again, the rate it was filmed at, remove, join and split.
import { api, attempt, send } from './api.js';
import { say } from './words.js';
import { refresh } from './live.js';

export function start() {
  document.addEventListener('click', (event) => {
    const button = event.target.closest('button[data-does]');
    const act = button && ACTS[button.dataset.does];
    if (act) attempt(async () => {
      await act(button);
      await refresh();
    });
  });
  document.addEventListener('change', (event) => {
    if (event.target.matches('[name=join]') && event.target.value) {
      attempt(async () => {
        await join(event.target);
        event.target.blur();
        await refresh();
      });
    }
  });
}

const clipOf = (button) => button.closest('[data-clip]').dataset.clip;
const cardOf = (element) => element.closest('[data-swing]');
const clipsOf = (card) => Object.entries(JSON.parse(card.dataset.clips)).map(([view, clip]) => ({ clip, view }));

const ACTS = {
  cancel: (button) => send('POST', api(`clips/${clipOf(button)}/cancel`)),
  retry: (button) => send('POST', api(`clips/${clipOf(button)}/retry`)),
  filmed: (button) => {
    const field = button.type === 'submit' && button.form.elements.rate;
    if (field) field.value = field.value.trim().replace(',', '.');
    if (field && !field.reportValidity()) return undefined;
    const rate = field ? field.value : button.value;
    // A field that is being filled in is never exchanged.
    button.focus();
    return send('PATCH', api(`clips/${clipOf(button)}`), { capture_fps: rate });
  },
  remove: (button) => send('DELETE', api(`clips/${clipOf(button)}`)),
  'remove-swing': async (button) => {
    if (!confirm(say('who.remove_sure'))) return;
    await send('DELETE', api(`swings/${cardOf(button).dataset.swing}`));
  },
  split: async (button) => {
    const [, second] = clipsOf(cardOf(button));
    await send('POST', api('swings'), { clips: [second] });
  },
};

/** Two clips of one swing are seen from two sides: the one that joins takes the other side. */
async function join(select) {
  const [mine] = clipsOf(cardOf(select));
  const other = document.querySelector(`[data-swing="${CSS.escape(select.value)}"]`);
  const [theirs] = clipsOf(other);
  const view = theirs.view !== mine.view ? theirs.view
    : mine.view === 'face-on' ? 'down-the-line' : 'face-on';
  await send('POST', api('swings'), { clips: [mine, { clip: theirs.clip, view }] });
}
