// Comparing and handing out, driven; then what was saved is opened with other programs.
import { accessible } from './checks.mjs';
import { output } from './program.mjs';

export async function compareAndHandOut(page, address, failures, step) {
  step('compare before and after');
  await page.goto(address);
  await page.locator('.together').getByRole('link', { name: 'Compare them' }).click();
  await page.locator('.differences').waitFor();
  const moved = await page.locator('.differences .moved').count();
  failures.check(moved > 0, 'the change of the demo pupil is not shown');
  await page.locator('.ladder svg').waitFor();
  await page.screenshot({ path: 'shots/06_compare.png' });

  step('hand out');
  await page.getByRole('link', { name: 'Make the sheet' }).click();
  await page.waitForFunction(() => document.querySelector('.sheet-picture').naturalWidth > 400);
  await page.locator('[name=words]').fill('Keep the trail hip quiet. Żółw, ναι, да.');
  await page.locator('[name=words]').press('Tab');
  await page.locator('.saved').filter({ hasText: 'Saved' }).waitFor();
  const task = page.locator('[name=task]').first();
  await task.check();
  await page.screenshot({ path: 'shots/07_hand_out.png' });
  const pdf = await saved(page, page.locator('[data-save-sheet=pdf]'), 'sheet.pdf');
  await sheet(page, address, pdf, failures);
  step('stills and the short clip');
  const still = await saved(page, page.locator('[data-save-still="face-on_top"]'), 'top.jpg');
  failures.check(/JPEG|mjpeg/i.test(probe(still)), 'the still is no JPEG');
  await page.locator('.stills .choice label').nth(1).click();
  const full = await saved(page, page.locator('[data-save-still="face-on_address_top"]'), 'pair.png');
  failures.check(/png/i.test(probe(full)), 'the full still is no PNG');
  const clip = await saved(page, page.locator('[data-save-clip]').first(), 'clip.mp4');
  failures.check(/h264|vp9/.test(probe(clip)), 'the short clip does not play');
  await accessible(page, 'hand-out', failures);
}

const probe = (file) => output('ffprobe', '-v', 'error', '-show_entries', 'stream=codec_name', '-of', 'csv=p=0', file);

async function saved(page, link, name) {
  const [download] = await Promise.all([page.waitForEvent('download'), link.click()]);
  await download.saveAs(`saved/${name}`);
  return `saved/${name}`;
}

/** The PDF's fonts are in it, and its numbers are those of the result. */
async function sheet(page, address, pdf, failures) {
  const text = output('pdftotext', '-layout', pdf, '-').replace(/\s+/g, ' ');
  const fonts = output('pdffonts', pdf).split('\n').slice(2).filter(Boolean);
  failures.check(fonts.length > 0 && fonts.every((line) => /\byes\s+(yes|no)\s+(yes|no)/.test(line)), `fonts not embedded: ${fonts}`);
  for (const words of ['Zoë Démo', 'Keep the trail hip quiet', 'Żółw', 'ναι', 'да']) {
    failures.check(text.includes(words), `the sheet lacks "${words}"`);
  }
  const id = new URL(page.url()).searchParams.get('after');
  const { result } = await page.evaluate((url) => fetch(url).then((r) => r.json()), `${address}api/swings/${id}`);
  for (const measure of ['lower_hub_target', 'upper_hub_target']) {
    const { value, sd } = result.measures.top[measure];
    const said = [`${Math.abs(value).toFixed(1)} ± ${sd.toFixed(1)}`, `${Math.abs(value).toFixed(1)} cm (± ${sd.toFixed(1)})`];
    failures.check(said.some((s) => text.includes(s)), `the sheet lacks ${measure} ${said[0]}`);
  }
}
