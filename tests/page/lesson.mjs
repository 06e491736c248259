// The whole lesson in a real browser, as a coach does it: drop the clips of before and after,
// read the answer, check and correct, compare, hand out, come back later. Screenshots of every
// page go to shots/. Run by scripts/page_test in target/page_test.
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, rmSync } from 'node:fs';
import { chromium } from 'playwright-core';
import { Failures, listen } from './checks.mjs';
import { Program, ROOT } from './program.mjs';
import { bringIn, choose, describe, partAndJoin, paste, refuse, sayTheRate, waitForAnswer } from './bench.mjs';
import { checkSwing } from './correcting.mjs';
import { compareAndHandOut } from './handing_out.mjs';
import { shootAll } from './shots.mjs';

const library = new URL('library', import.meta.url).pathname;
rmSync(library, { recursive: true, force: true });
for (const folder of ['library', 'shots', 'saved']) mkdirSync(new URL(folder, import.meta.url), { recursive: true });

const clip = (name) => ({ name, bytes: readFileSync(`${ROOT}fixtures/clips/${name}`) });
/** A clip played four times as slowly, as a phone's slow motion without its mark. */
function slow(name) {
  const file = new URL('slow.mp4', import.meta.url).pathname;
  execFileSync('ffmpeg', ['-y', '-v', 'error', '-i', `${ROOT}fixtures/clips/${name}`, '-vf', 'setpts=4*PTS', '-r', '15', '-an', '-pix_fmt', 'yuv420p', file]);
  return { name: 'slow.mp4', bytes: readFileSync(file) };
}

const failures = new Failures();
const program = new Program(library);
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
  args: ['--no-sandbox'],
});

const began = Date.now();
const step = (words) => console.log(`${((Date.now() - began) / 1000).toFixed(1).padStart(6)} s  ${words}`);

try {
  let address = await program.start();
  const context = await browser.newContext({ viewport: { width: 1440, height: 900 }, acceptDownloads: true });
  context.setDefaultTimeout(60_000);
  const page = await context.newPage();
  listen(page, failures);
  await page.goto(address);
  await page.locator('body[data-started]').waitFor();
  await page.screenshot({ path: 'shots/01_bench_empty.png' });

  step('drop the clips of before');
  const before = await bringIn(page, [clip('p1_before_faceon.mp4'), clip('p1_before_dtl.mp4')], failures);
  step(`first picture ${before.firstPicture} ms after the drop`);
  await describe(page, 0, { label: 'before', stature: '179', pupil: 'Zoë Démo' });
  await page.screenshot({ path: 'shots/02_measuring.png' });
  await waitForAnswer(page, 1);
  step(`answer ${((Date.now() - before.dropped) / 1000).toFixed(1)} s after the drop`);
  await page.screenshot({ path: 'shots/03_answer.png' });

  step('choose one clip of after, paste the other, and bring one that is none');
  await choose(page, ['p1_after_faceon.mp4'], ROOT);
  await paste(page, clip('p1_after_dtl.mp4'));
  await describe(page, 0, { label: 'after', stature: '179', pupil: 'Zoë Démo' });
  const other = await context.newPage();
  await other.goto(address);
  await other.locator('body[data-started]').waitFor();
  await refuse(other, failures);
  await other.close();
  await waitForAnswer(page, 2);
  await page.locator('.together').waitFor();
  step('both are measured');
  await page.screenshot({ path: 'shots/04_both.png' });

  step('a pair is parted and joined again');
  await partAndJoin(page, failures);

  step('slow motion that does not say so');
  await sayTheRate(page, slow('p1_before_faceon.mp4'), failures);

  await checkSwing(page, failures, step);
  await compareAndHandOut(page, address, failures, step);

  step('reload: everything is there');
  await page.goto(address);
  await found(page, 'after a reload');
  // The stream of events would be cut, which the console notes.
  await page.goto('about:blank');
  await program.stop('SIGKILL');
  address = await program.start();
  await page.goto(address);
  await found(page, 'after a power cut');

  step('every page at every size, light and dark');
  await shootAll(browser, address, failures);
  step('done');
} catch (error) {
  failures.check(false, error.stack);
} finally {
  await browser.close();
  await program.stop();
}

async function found(page, when) {
  await page.locator('body[data-started]').waitFor();
  failures.equal(await page.locator('.swing .answer:not(.second)').count(), 2, `answers ${when}`);
  for (const [label, i] of [['after', 0], ['before', 1]]) {
    const card = page.locator('.swing').nth(i);
    failures.equal(await card.locator('.choice input:checked').first().inputValue(), label, `label ${when}`);
    failures.equal(await card.locator('[name=stature]').inputValue(), '179cm', `stature ${when}`);
    failures.equal(await card.locator('[name=pupil]').inputValue(), 'Zoë Démo', `pupil ${when}`);
  }
}

console.log(failures.all.length ? `page test: ${failures.all.length} failed` : 'page test: passed');
process.exitCode = failures.all.length ? 1 : 0;
