// What every page must hold: accessible, within its width, nothing refused by the policy.
import { readFileSync } from 'node:fs';

const axe = readFileSync(new URL('node_modules/axe-core/axe.min.js', import.meta.url), 'utf8');

export class Failures {
  constructor() {
    this.all = [];
  }

  check(holds, what) {
    if (!holds) {
      this.all.push(what);
      console.error(`  FAILED: ${what}`);
    }
    return Boolean(holds);
  }

  equal(got, want, what) {
    return this.check(got === want, `${what}: got ${JSON.stringify(got)}, want ${JSON.stringify(want)}`);
  }
}

/** Listens for errors of scripts and refusals of the content security policy. */
export function listen(page, failures) {
  page.on('pageerror', (error) => failures.check(false, `script error on ${page.url()}: ${error.message}`));
  page.on('console', (message) => {
    if (message.type() === 'error') failures.check(false, `console on ${page.url()}: ${message.text()}`);
  });
}

/** Axe runs in the page's own world through the driver, so the policy stays in force. */
export async function accessible(page, name, failures) {
  await page.evaluate(axe);
  const found = await page.evaluate(() => globalThis.axe.run());
  const grave = found.violations.filter((v) => ['serious', 'critical'].includes(v.impact));
  for (const v of grave) {
    failures.check(false, `${name}: ${v.impact} ${v.id}, ${v.nodes.length} times, first: ${v.nodes[0].html.slice(0, 160)}`);
  }
  return found.violations.length - grave.length;
}

export async function fits(page, name, failures) {
  const over = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  failures.check(over <= 0, `${name} is ${over} px wider than the window`);
}

/** Nothing to touch is smaller than a gloved thumb, 48 px, but links in running text. */
export async function large(page, name, failures) {
  const small = await page.evaluate(() => [...document.querySelectorAll('button, a.button, select, summary, .choice label, .tick, input[type=text], textarea')]
    .filter((e) => e.checkVisibility() && !e.closest('.flags'))
    .map((e) => ({ box: e.getBoundingClientRect(), text: (e.textContent || e.name).trim().slice(0, 30) }))
    .filter(({ box }) => box.width > 0 && (box.height < 47.5 || box.width < 47.5))
    .map(({ box, text }) => `${text} (${Math.round(box.width)} x ${Math.round(box.height)})`));
  failures.check(small.length === 0, `${name}: too small to touch: ${small.join(', ')}`);
}
