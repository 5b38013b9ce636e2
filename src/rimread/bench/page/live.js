// The live picture: the next one is asked for when the last one is here, so that a slow tablet sees
// fewer pictures and not older ones.

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

export class Live {
  // shown(bitmap) paints; told(words) shows hints
  constructor({ shown, told, purpose }) {
    Object.assign(this, { shown, told, purpose });
    this.turn = 0; // each start has its own; loops of earlier ones see that it is over
    this.on = false;
  }

  start() {
    this.on = true;
    this.turn += 1;
    this.pictures(this.turn);
    this.words(this.turn);
  }

  stop() {
    this.on = false;
    this.turn += 1;
  }

  async pictures(turn) {
    const asked = (after) => fetch(`/live.jpg?after=${after}`, { cache: "no-store" });
    let coming = asked(0);
    while (this.turn === turn) {
      try {
        const response = await coming;
        if (response.status !== 200) throw new Error("no picture yet");
        const blob = await response.blob();
        if (this.turn !== turn) return;
        coming = asked(response.headers.get("X-Frame")); // on its way while this one is drawn
        const bitmap = await createImageBitmap(blob);
        if (this.turn === turn) this.shown(bitmap); else bitmap.close();
        await new Promise(requestAnimationFrame);
      } catch {
        await pause(500);
        coming = asked(0);
      }
    }
    coming.catch(() => {});
  }

  async words(turn) {
    while (this.turn === turn) {
      try {
        const response = await fetch(`/api/live?of=${this.purpose()}`, { cache: "no-store" });
        const told = await response.json();
        if (response.ok && this.turn === turn) this.told(told);
        await pause(200);
      } catch {
        if (this.turn !== turn) return;
        this.told({ trouble: "The bench does not answer: is the program still running?", hints: [], outline_px: null });
        await pause(1500);
      }
    }
  }
}
