// Starts and stops the program as a coach does, and calls the tools that look at what it wrote.
import { execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';

export const ROOT = new URL('../../', import.meta.url).pathname;

export class Program {
  constructor(library) {
    this.library = library;
  }

  /** Resolves to the address that the program prints. */
  async start() {
    this.child = spawn(`${ROOT}target/debug/hubgauge`,
      ['open', '--no-browser', '--port', '0', '--library', this.library],
      { stdio: ['ignore', 'pipe', 'pipe'] });
    let said = '';
    this.child.stderr.on('data', (text) => process.stderr.write(text));
    return new Promise((found, failed) => {
      this.child.stdout.on('data', (text) => {
        said += text;
        const address = said.match(/http:\/\/127\.0\.0\.1:\d+\/\S+/);
        if (address) found(address[0].replace(/\/?$/, '/'));
      });
      this.child.once('exit', (code) => failed(new Error(`the program ended (${code}): ${said}`)));
    });
  }

  /** Ends it; `SIGKILL` is a power cut. */
  async stop(signal = 'SIGTERM') {
    if (!this.child || this.child.exitCode !== null || this.child.signalCode) return;
    const gone = once(this.child, 'exit');
    this.child.kill(signal);
    await gone;
  }
}

export const output = (tool, ...given) =>
  execFileSync(tool, given, { encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] });
