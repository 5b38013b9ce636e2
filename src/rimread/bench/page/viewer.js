// A picture that can be zoomed and moved, with drawings over it in the pixels of the photo.
// The centre of the top-left pixel is (0, 0).

const MOST = 32;

export class Viewer {
  constructor(canvas) {
    this.canvas = canvas;
    this.context = canvas.getContext("2d");
    this.bitmap = null;
    this.size = [1, 1];
    this.whole = true;
    this.fine = true;
    this.scale = 1;
    this.offset = [0, 0];
    this.draw = () => {};
    this.grab = () => null; // (photo point, screen distance → photo) → what follows the pointer
    this.tap = () => {};
    this.arrow = () => false;
    this.pointers = new Map();
    this.held = null;
    this.moved = 0;
    new ResizeObserver(() => this.fit()).observe(canvas);
    canvas.addEventListener("pointerdown", (event) => this.down(event));
    canvas.addEventListener("pointermove", (event) => this.move(event));
    for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, (event) => this.up(event));
    canvas.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.zoom(Math.exp(-event.deltaY / 300), this.at(event));
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => this.key(event));
  }

  // width and height of the photo; the bitmap may be a smaller preview of it
  show(bitmap, width, height) {
    const other = width !== this.size[0] || height !== this.size[1];
    if (this.bitmap && this.bitmap !== bitmap) this.bitmap.close?.();
    this.bitmap = bitmap;
    this.size = [width, height];
    if (other || this.whole) this.fit(other);
    else this.paint();
  }

  fit(force = false) {
    const ratio = window.devicePixelRatio || 1;
    const box = this.canvas.getBoundingClientRect();
    this.canvas.width = Math.max(1, Math.round(box.width * ratio));
    this.canvas.height = Math.max(1, Math.round(box.height * ratio));
    if (this.whole || force) {
      this.whole = true;
      this.scale = Math.min(this.canvas.width / this.size[0], this.canvas.height / this.size[1]);
      this.offset = [0, 1].map((i) => (this.extent()[i] - this.scale * this.size[i]) / 2);
    }
    this.paint();
  }

  extent() { return [this.canvas.width, this.canvas.height]; }
  toScreen([x, y]) { return [(x + 0.5) * this.scale + this.offset[0], (y + 0.5) * this.scale + this.offset[1]]; }
  toPhoto([x, y]) { return [(x - this.offset[0]) / this.scale - 0.5, (y - this.offset[1]) / this.scale - 0.5]; }
  middle() { return this.toPhoto(this.extent().map((side) => side / 2)); }

  at(event) {
    const ratio = window.devicePixelRatio || 1;
    const box = this.canvas.getBoundingClientRect();
    return [(event.clientX - box.left) * ratio, (event.clientY - box.top) * ratio];
  }

  zoom(factor, about = this.extent().map((side) => side / 2)) {
    const least = Math.min(this.canvas.width / this.size[0], this.canvas.height / this.size[1]) / 2;
    const scale = Math.min(MOST, Math.max(least, this.scale * factor));
    const change = scale / this.scale;
    this.offset = this.offset.map((value, i) => about[i] - (about[i] - value) * change);
    this.scale = scale;
    this.whole = false;
    this.paint();
  }

  pan(dx, dy) {
    this.offset = [this.offset[0] + dx, this.offset[1] + dy];
    this.whole = false;
    this.paint();
  }

  one() { this.zoom(1 / this.scale); }
  all() { this.whole = true; this.fit(); }

  paint() {
    const c = this.context;
    c.setTransform(1, 0, 0, 1, 0, 0);
    c.clearRect(0, 0, this.canvas.width, this.canvas.height);
    if (!this.bitmap) return;
    c.imageSmoothingEnabled = this.scale < 3; // at high zoom the pixels themselves are shown
    c.imageSmoothingQuality = this.fine ? "high" : "low"; // a live picture must be quick
    c.drawImage(this.bitmap, this.offset[0], this.offset[1], this.size[0] * this.scale, this.size[1] * this.scale);
    this.draw(c, this);
  }

  down(event) {
    this.canvas.setPointerCapture(event.pointerId);
    const at = this.at(event);
    this.pointers.set(event.pointerId, at);
    this.moved = 0;
    if (this.pointers.size === 1) {
      const reach = (event.pointerType === "mouse" ? 14 : 28) * (window.devicePixelRatio || 1);
      this.held = this.grab(this.toPhoto(at), reach / this.scale);
    } else this.held = null;
  }

  move(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const now = this.at(event);
    this.moved += Math.hypot(now[0] - before[0], now[1] - before[1]);
    if (this.pointers.size === 2) {
      const other = [...this.pointers].find(([id]) => id !== event.pointerId)[1];
      const apart = (a) => Math.max(1, Math.hypot(a[0] - other[0], a[1] - other[1]));
      this.zoom(apart(now) / apart(before), other);
    } else if (this.held) {
      const [from, to] = [this.toPhoto(before), this.toPhoto(now)];
      this.held(to, [to[0] - from[0], to[1] - from[1]]);
      this.paint();
    } else if (this.moved > 4) this.pan(now[0] - before[0], now[1] - before[1]);
    this.pointers.set(event.pointerId, now);
  }

  up(event) {
    const at = this.pointers.get(event.pointerId);
    this.pointers.delete(event.pointerId);
    if (at && event.type === "pointerup" && this.moved <= 6 && !this.pointers.size) this.tap(this.toPhoto(at), 14 / this.scale);
    this.held = null;
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (step) {
      if (!this.arrow(step, event.shiftKey)) this.pan(-60 * step[0], -60 * step[1]);
    } else if (event.key === "+" || event.key === "=") this.zoom(1.4);
    else if (event.key === "-") this.zoom(1 / 1.4);
    else if (event.key === "0") this.all();
    else return;
    event.preventDefault();
  }
}

// -- drawings: yellow on a black edge, readable on any ground

export const INK = { rim: "#f0e442", used: "#56b4e9", out: "#e69f00", line: "#ffffff" };

export function path(c, viewer, points, colour, width = 2, dash = []) {
  const ratio = window.devicePixelRatio || 1;
  c.beginPath();
  points.forEach((point, i) => {
    const [x, y] = viewer.toScreen(point);
    if (i) c.lineTo(x, y); else c.moveTo(x, y);
  });
  c.setLineDash(dash.map((part) => part * ratio));
  for (const [ink, wide] of [["rgba(0,0,0,.75)", width + 2], [colour, width]]) {
    c.strokeStyle = ink;
    c.lineWidth = wide * ratio;
    c.stroke();
  }
  c.setLineDash([]);
}

export function dots(c, viewer, points, colour, shape = "dot") {
  const r = 2.5 * (window.devicePixelRatio || 1);
  c.fillStyle = c.strokeStyle = colour;
  c.lineWidth = r / 1.5;
  for (const point of points) {
    const [x, y] = viewer.toScreen(point);
    c.beginPath();
    if (shape === "dot") { c.arc(x, y, r, 0, 7); c.fill(); } else {
      c.moveTo(x - r, y - r); c.lineTo(x + r, y + r); c.moveTo(x - r, y + r); c.lineTo(x + r, y - r); c.stroke();
    }
  }
}

export function handle(c, viewer, point) {
  const r = 9 * (window.devicePixelRatio || 1);
  const [x, y] = viewer.toScreen(point);
  c.beginPath();
  c.arc(x, y, r, 0, 7);
  c.fillStyle = "rgba(0,0,0,.45)";
  c.fill();
  c.strokeStyle = INK.rim;
  c.lineWidth = r / 3;
  c.stroke();
}

export function letters(c, viewer, text, point) {
  const ratio = window.devicePixelRatio || 1;
  const [x, y] = viewer.toScreen(point);
  c.font = `600 ${18 * ratio}px system-ui, sans-serif`;
  c.lineWidth = 4 * ratio;
  c.strokeStyle = "#000";
  c.fillStyle = INK.line;
  c.strokeText(text, x + 8 * ratio, y - 8 * ratio);
  c.fillText(text, x + 8 * ratio, y - 8 * ratio);
}
