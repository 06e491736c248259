// Exact pictures of a clip, fetched ahead of the way one walks.
const KEPT = 48;
const AHEAD = 5;
const STEP_PX = 320;

export class Frames {
  constructor(api, view, count, shot) {
    Object.assign(this, { api, view, count, shot });
    this.kept = new Map();
    this.wanted = 0;
  }

  /** Pixels worth asking for, in steps, so that a small change of the window fetches nothing. */
  most() {
    const px = this.shot.clientHeight * devicePixelRatio || 960;
    return Math.min(1920, Math.ceil(px / STEP_PX) * STEP_PX);
  }

  get(index) {
    const most = this.most();
    const name = `${index}/${most}`;
    if (!this.kept.has(name)) this.kept.set(name, this.load(index, most, name));
    const got = this.kept.get(name);
    this.kept.delete(name);
    this.kept.set(name, got);
    for (const old of [...this.kept.keys()].slice(0, -KEPT)) this.drop(old);
    return got;
  }

  async load(index, most, name) {
    try {
      const reply = await fetch(`${this.api}/frame/${this.view}/${index}.jpg?max=${most}`);
      if (!reply.ok) throw new Error((await reply.json().catch(() => ({}))).message);
      const address = URL.createObjectURL(await reply.blob());
      const picture = new Image();
      picture.src = address;
      await picture.decode();
      return address;
    } catch (error) {
      this.kept.delete(name);
      throw error;
    }
  }

  drop(name) {
    this.kept.get(name)?.then((address) => {
      if (this.shot.src !== address) URL.revokeObjectURL(address);
    }).catch(() => {});
    this.kept.delete(name);
  }

  /** Shows a picture; false when another was asked for meanwhile. */
  async show(index, way) {
    this.wanted = index;
    const from = performance.now();
    const address = await this.get(index);
    if (this.wanted !== index) return false;
    this.shot.src = address;
    this.shot.dataset.index = index;
    performance.measure('step', { start: from, detail: index });
    for (let i = 1; i <= AHEAD; i += 1) {
      const next = index + i * (way || 1);
      if (next >= 0 && next < this.count) this.get(next).catch(() => {});
    }
    return true;
  }
}
