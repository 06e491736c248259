// Starts what this page needs.
import { attempt } from './api.js';
import { listen, refresh } from './live.js';
import { start as startForms } from './forms.js';
import { freshen, start as startDrawing } from './drawing.js';

const page = document.body.dataset.page;
const swing = document.querySelector('[data-swing]')?.dataset.swing;

startForms();
startDrawing();
if (page === 'bench') {
  (await import('./drop.js')).start();
}
// Clips that have no numbers yet have their buttons on their swing's page too.
if (page === 'bench' || page === 'swing') (await import('./bench.js')).start();
if (page === 'check') await attempt(async () => (await import('./check.js')).start());
if (page === 'hand-out') (await import('./hand_out.js')).start();
if (page === 'compare') (await import('./compare.js')).start();

listen(async (told) => {
  if (page === 'bench') await refresh();
  if (page === 'swing' && told.kind !== 'clip') {
    const unread = document.querySelector('[data-reload-when-ready]');
    if (unread && told.id === swing && told.state === 'ready') location.reload();
    else if (told.id === swing) {
      await refresh();
      freshen();
    }
  }
});
document.body.dataset.started = 'yes';
