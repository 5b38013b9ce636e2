// The live picture: the next one is asked for when the last one is on the screen, so that a slow
// tablet sees fewer pictures and not older ones.

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

export class Live {
  // shown(bitmap, frame number) paints; told(words) shows hints
  constructor({ shown, told, purpose }) {
    Object.assign(this, { shown, told, purpose });
    this.on = false;
    this.frames = 0;
  }

  start() {
    if (this.on) return;
    this.on = true;
    this.pictures();
    this.words();
  }

  stop() { this.on = false; }

  async pictures() {
    let after = 0;
    while (this.on) {
      try {
        const response = await fetch(`/live.jpg?after=${after}`, { cache: "no-store" });
        if (response.status !== 200) { await pause(500); continue; }
        after = Number(response.headers.get("X-Frame"));
        const bitmap = await createImageBitmap(await response.blob());
        if (this.on) { this.shown(bitmap, after); this.frames += 1; } else bitmap.close();
        await new Promise(requestAnimationFrame);
      } catch { await pause(1000); }
    }
  }

  async words() {
    while (this.on) {
      try {
        const response = await fetch(`/api/live?of=${this.purpose()}`, { cache: "no-store" });
        if (response.ok && this.on) this.told(await response.json());
        await pause(200);
      } catch {
        this.told({ trouble: "The bench does not answer: is the program still running?", hints: [], outline_px: null });
        await pause(1500);
      }
    }
  }
}
