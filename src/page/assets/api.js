// Requests to the program on this machine, and the line that says what went wrong.
import { say } from './words.js';

export const root = document.documentElement.dataset.root;
export const api = (path) => `${root}api/${path}`;

/** Sends JSON; the answer's JSON, or an Error whose message is one line for the coach. */
export async function send(method, address, body) {
  let reply;
  try {
    reply = await fetch(address, {
      method,
      headers: body === undefined ? {} : { 'Content-Type': 'application/json' },
      body: body === undefined ? undefined : JSON.stringify(body),
    });
  } catch {
    throw new Error(say('failure.gone'));
  }
  const text = await reply.text();
  let json = {};
  try {
    json = text ? JSON.parse(text) : {};
  } catch {
    json = { message: text };
  }
  if (!reply.ok) throw new Error(json.message || say('failure.other'));
  return json;
}

let hide;
/** One line at the foot of the window, also read aloud. */
export function notice(text) {
  const line = document.getElementById('notice');
  line.textContent = text;
  line.classList.add('up');
  clearTimeout(hide);
  hide = setTimeout(() => line.classList.remove('up'), 8000);
}

/** Runs something that may fail and says why it did. */
export async function attempt(work) {
  try {
    return await work();
  } catch (error) {
    notice(error.message);
    return undefined;
  }
}
