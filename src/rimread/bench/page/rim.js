// A person's rim: an ellipse that can be dragged, or points marked one by one.

import { INK, dots, handle, path } from "./viewer.js";

const TURN = Array.from({ length: 181 }, (_, i) => (i * Math.PI) / 90);

export class Rim {
  constructor(pending, { changed, paint }) {
    const { x_px: x, y_px: y, long_px: long, short_px: short, angle_deg: turn } = pending.ellipse;
    this.ellipse = { x, y, long, short, turn };
    this.before = pending.outline_px;
    this.marks = [];
    this.marked = false;
    this.outline = null;
    Object.assign(this, { changed, paint });
  }

  // what the bench is asked to measure, null while there is too little
  asked() {
    if (this.marked) return this.marks.length >= 6 ? { marks: this.marks } : null;
    const { x, y, long, short, turn } = this.ellipse; // a drag may have made the shorter one longer
    return { ellipse: { x_px: x, y_px: y, long_px: Math.max(long, short), short_px: Math.min(long, short), angle_deg: turn + (short > long ? 90 : 0) } };
  }

  point(along, across) {
    const { x, y, long, short, turn } = this.ellipse;
    const [c, s] = [Math.cos((turn * Math.PI) / 180), Math.sin((turn * Math.PI) / 180)];
    const [u, v] = [(along * long) / 2, (across * short) / 2];
    return [x + u * c - v * s, y + u * s + v * c];
  }

  ends() { return [[1, 0], [-1, 0], [0, 1], [0, -1]].map(([u, v]) => this.point(u, v)); }

  draw(c, viewer) {
    path(c, viewer, this.before, "#bbbbbb", 1, [4, 6]);
    if (this.marked) {
      if (this.outline && this.marks.length >= 6) path(c, viewer, this.outline, INK.rim, 1.5);
      dots(c, viewer, this.marks, INK.used);
      for (const mark of this.marks) handle(c, viewer, mark);
      const [x, y] = viewer.middle();
      const r = 12 / viewer.scale;
      path(c, viewer, [[x - r, y], [x + r, y]], INK.line, 1);
      path(c, viewer, [[x, y - r], [x, y + r]], INK.line, 1);
      return;
    }
    path(c, viewer, TURN.map((t) => this.point(Math.cos(t), Math.sin(t))), INK.rim, 1.5);
    for (const end of [...this.ends(), this.point(0, 0)]) handle(c, viewer, end);
  }

  grab(point, reach) {
    const near = ([x, y]) => Math.hypot(point[0] - x, point[1] - y) <= reach;
    if (this.marked) {
      const i = this.marks.findIndex(near);
      return i < 0 ? null : (to) => { this.marks[i] = to; this.told(); };
    }
    const end = this.ends().findIndex(near);
    if (end >= 0) return (to) => { this.stretch(end, to); this.told(); };
    if (near(this.point(0, 0))) return (_, [dx, dy]) => this.shift(dx, dy);
    return null;
  }

  // an end follows the pointer and the centre stays; the longer axis turns with it
  stretch(end, [px, py]) {
    const e = this.ellipse;
    const [dx, dy] = [px - e.x, py - e.y];
    const length = Math.max(20, 2 * Math.hypot(dx, dy));
    const way = (Math.atan2(dy, dx) * 180) / Math.PI;
    if (end < 2) { e.long = length; e.turn = way; } else { e.short = length; e.turn = way + 90; }
    e.turn = ((e.turn % 180) + 180) % 180;
  }

  shift(dx, dy) { this.ellipse.x += dx; this.ellipse.y += dy; this.told(); }

  arrow([dx, dy], wide) {
    if (this.marked) return false;
    this.shift(dx * (wide ? 10 : 1), dy * (wide ? 10 : 1));
    return true;
  }

  tap(point, reach) {
    if (!this.marked) return;
    const i = this.marks.findIndex(([x, y]) => Math.hypot(point[0] - x, point[1] - y) <= reach);
    if (i >= 0) this.marks.splice(i, 1); else this.marks.push(point);
    this.told();
  }

  drop() { this.marks.pop(); this.told(); }

  typed(id, number) {
    if (!Number.isFinite(number)) return;
    this.ellipse[{ x_px: "x", y_px: "y", long_px: "long", short_px: "short", turn_deg: "turn" }[id]] = number;
    this.told();
  }

  told() { this.changed(); this.paint(); }
}
