// Every page at phone and laptop size, light and dark: a picture of each, and what must hold.
import { accessible, fits, large, listen } from './checks.mjs';

const SIZES = [[390, 844], [1440, 900]];
const SCHEMES = ['light', 'dark'];

async function pages(browser, address) {
  const page = await browser.newPage();
  await page.goto(address);
  const [after, before] = await page.evaluate(() => [...document.querySelectorAll('.swing')].map((s) => s.dataset.swing));
  const pupil = await page.locator('.pupils a').first().getAttribute('href');
  await page.close();
  return {
    bench: address,
    swing: `${address}swing/${before}`,
    check: `${address}swing/${before}/check?view=face-on`,
    compare: `${address}compare?before=${before}&after=${after}`,
    hand_out: `${address}hand-out?after=${after}&before=${before}`,
    pupil: new URL(pupil, address).href,
    settings: `${address}settings`,
    failure: `${address}swing/none`,
  };
}

export async function shootAll(browser, address, failures) {
  const all = await pages(browser, address);
  let minor = 0;
  for (const colorScheme of SCHEMES) {
    for (const [width, height] of SIZES) {
      const context = await browser.newContext({ viewport: { width, height }, colorScheme, reducedMotion: 'reduce' });
      for (const [name, url] of Object.entries(all)) {
        const page = await context.newPage();
        // A page that is not there is answered with 404, which the console notes.
        if (name !== 'failure') listen(page, failures);
        await page.goto(url);
        await page.locator('body[data-started]').waitFor();
        await page.waitForFunction(() => [...document.images].filter((i) => i.src && i.checkVisibility() && i.loading !== 'lazy').every((i) => i.complete));
        await page.waitForFunction(() => [...document.querySelectorAll('[data-drawing], .preview')].every((d) => !d.textContent.includes('Just a moment')));
        await page.evaluate(async () => {
          for (let y = 0; y < document.body.scrollHeight; y += innerHeight) {
            scrollTo(0, y);
            await new Promise((done) => { setTimeout(done, 30); });
          }
          scrollTo(0, 0);
          await Promise.all([...document.images].filter((i) => i.checkVisibility() && i.src).map((i) => i.decode().catch(() => {})));
        });
        const label = `${name} ${width} ${colorScheme}`;
        await page.screenshot({ path: `shots/${name}_${width}x${height}_${colorScheme}.png`, fullPage: true });
        await fits(page, label, failures);
        await large(page, label, failures);
        minor += await accessible(page, label, failures);
        await page.close();
      }
      await context.close();
    }
  }
  await narrow(browser, all, failures);
  console.log(`          findings of axe below serious: ${minor}`);
}

/** The smallest phone. */
async function narrow(browser, all, failures) {
  const page = await browser.newPage({ viewport: { width: 360, height: 640 } });
  for (const [name, url] of Object.entries(all)) {
    await page.goto(url);
    await page.locator('body[data-started]').waitFor();
    await fits(page, `${name} 360`, failures);
  }
  await page.close();
}
