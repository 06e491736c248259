// The interface's words, from the same file as the server's.
const file = await fetch(new URL('./words.en.json', import.meta.url));
const words = file.ok ? await file.json() : {};

export const say = (key) => words[key] ?? key;

export const fill = (key, gaps) =>
  Object.entries(gaps).reduce((text, [gap, value]) => text.replaceAll(`{${gap}}`, value), say(key));
