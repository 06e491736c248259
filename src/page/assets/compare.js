// Which swings stand on which side goes into the address.
import { notice, root } from './api.js';
import { say } from './words.js';

export function start() {
  document.querySelector('[data-compare]')?.addEventListener('submit', (event) => {
    event.preventDefault();
    const chosen = new FormData(event.target);
    const [before, after] = ['before', 'after'].map((side) => chosen.getAll(side));
    if (!before.length || !after.length) return notice(say('compare.choose_both'));
    if (before.some((id) => after.includes(id))) return notice(say('compare.same_on_both'));
    const ids = (side) => side.map(encodeURIComponent).join(',');
    const setup = chosen.has('same_setup') ? '&same_setup=true' : '';
    location.href = `${root}compare?before=${ids(before)}&after=${ids(after)}${setup}`;
    return undefined;
  });
}
