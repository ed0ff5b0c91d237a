// Marking places on the photo: tap to set, drag to move, with a loupe; arrow keys for a pixel at a time.

const REACH_PX = 24;

class Marking {
  constructor(parent, data, send) {
    this.data = data;
    this.send = send;
    this.parts = partsOf(parent);
    this.off = new AbortController();
    this.points = this.given(data);
    this.told = data.heard; // number of the latest change here
    this.chosen = this.firstOpen();
    this.view = new PhotoView(this.parts.photo, data.size, this);
    const signal = this.off.signal;
    zoomButtons(this.parts, this.view, signal);
    this.parts.clear.addEventListener("click", () => this.clear(), { signal });
    this.view.load(data.photo);
    this.list();
  }

  close() {
    this.off.abort();
    this.view.close();
  }

  given(data) {
    return data.labels.map((_, i) => data.points[i] ?? null);
  }

  // what the number fields say is taken over, unless a point is being moved,
  // and unless it was said before the latest change here was heard
  update(data) {
    this.data = data;
    if (this.view.held || data.heard < this.told) return;
    this.points = this.given(data);
    if (this.chosen === null || this.chosen >= this.points.length) this.chosen = this.firstOpen();
    this.list();
    this.view.draw();
  }

  firstOpen() {
    const open = this.points.indexOf(null);
    return open < 0 ? null : open;
  }

  list() {
    const { parts } = this;
    while (parts.points.children.length > this.points.length) parts.points.lastChild.remove();
    while (parts.points.children.length < this.points.length) {
      const button = document.createElement("button");
      const number = parts.points.children.length;
      button.type = "button";
      button.addEventListener("click", () => this.choose(number), { signal: this.off.signal });
      parts.points.append(button);
    }
    [...parts.points.children].forEach((button, i) => {
      const at = this.points[i];
      button.textContent = at ? `${this.data.labels[i]} ✓` : this.data.labels[i];
      button.setAttribute("aria-pressed", String(i === this.chosen));
      button.setAttribute("aria-label", at ? `${this.data.labels[i]}, at ${at[0]}, ${at[1]} px` : `${this.data.labels[i]}, not set`);
    });
    const next = this.chosen !== null ? this.data.labels[this.chosen] : null;
    parts.told.textContent =
      next === null ? "All are set. Drag one to move it." : this.points[this.chosen] ? `${next}: drag it, or use the arrow keys.` : `Tap on: ${next}`;
    parts.clear.disabled = this.points.every((at) => at === null);
  }

  choose(number) {
    this.chosen = number;
    if (this.points[number]) this.view.goTo(this.points[number], Math.max(this.view.zoom, 2));
    this.list();
    this.view.draw();
  }

  clear() {
    this.points = this.points.map(() => null);
    this.chosen = 0;
    this.list();
    this.tell();
  }

  put(at) {
    if (this.chosen === null) return;
    const inside = [Math.min(Math.max(at[0], 0), this.view.width - 1), Math.min(Math.max(at[1], 0), this.view.height - 1)];
    this.points[this.chosen] = rounded(inside);
    this.list();
    this.view.draw();
  }

  tell() {
    this.view.draw();
    this.told += 1;
    this.send({ told: this.told, at: this.points.map((at) => at && [...at]) });
  }

  // --- what PhotoView asks of its tool

  letsPageScroll() {
    return true;
  }

  grab(at) {
    const far = this.points.map((p) => (p ? Math.hypot(p[0] - at[0], p[1] - at[1]) * this.view.zoom : Infinity));
    const nearest = far.indexOf(Math.min(...far));
    if (far[nearest] > REACH_PX) return false;
    this.before = [nearest, this.points[nearest], this.chosen];
    this.chosen = nearest;
    // a finger moves the point by as much as itself, and need not cover it
    this.offset = [this.points[nearest][0] - at[0], this.points[nearest][1] - at[1]];
    this.list();
    return true;
  }

  drag(at) {
    this.put([at[0] + this.offset[0], at[1] + this.offset[1]]);
  }

  drop() {
    this.tell();
  }

  cancel() {
    this.points[this.before[0]] = this.before[1];
    this.chosen = this.before[2];
    this.list();
  }

  tap(at) {
    if (this.chosen === null) return;
    this.put(at);
    this.chosen = this.firstOpen() ?? this.chosen;
    this.list();
    this.tell();
  }

  act(at) {
    this.tap(at);
  }

  key(event) {
    const point = this.chosen !== null ? this.points[this.chosen] : null;
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (event.key === "Escape") return (this.chosen = this.firstOpen()), this.list(), true;
    if (!point || !by || event.ctrlKey || event.metaKey || event.altKey) return false;
    const step = event.shiftKey ? 0.1 : 1;
    this.put([point[0] + by[0] * step, point[1] + by[1] * step]);
    this.view.goTo(this.points[this.chosen]);
    this.tell();
    return true;
  }

  paint(ctx) {
    const { view } = this;
    const places = this.points.map((at) => at && view.toScreen(at));
    const shape = new Path2D();
    const set = places.filter(Boolean);
    set.forEach(([x, y], i) => (i ? shape.lineTo(x, y) : shape.moveTo(x, y)));
    if (this.data.closed && set.length === this.points.length) shape.closePath();
    haloed(ctx, shape, "#d55e00", "#fff", 1.5, [6, 5]);
    places.forEach((place, i) => {
      if (!place) return;
      view.cross(ctx, place, i === this.chosen ? 16 : 11);
      ctx.font = "600 15px sans-serif";
      ctx.lineWidth = 4;
      ctx.strokeStyle = "#fff";
      ctx.fillStyle = "#000";
      const text = String(i + 1);
      ctx.strokeText(text, place[0] + 9, place[1] - 9);
      ctx.fillText(text, place[0] + 9, place[1] - 9);
    });
    const looked = this.lookedAt();
    if (looked) view.loupe(ctx, looked);
  }

  lookedAt() {
    const { view } = this;
    const point = this.chosen !== null ? this.points[this.chosen] : null;
    if (view.byKeys) return point ?? view.centre;
    if (view.held) return point;
    if (view.hover && view.pointers.size === 0 && this.firstOpen() !== null) return view.toPhoto(view.hover);
    return null;
  }
}

const open = new WeakMap();

export default function ({ data, parentElement, setStateValue }) {
  const send = (points) => setStateValue("points", points);
  let made = open.get(parentElement);
  if (made?.data.version === data.version) {
    made.send = send;
    made.update(data);
  } else {
    made?.close();
    made = new Marking(parentElement, data, send);
    made.close_ = () => {
      made.close();
      open.delete(parentElement);
    };
    open.set(parentElement, made);
  }
  return made.close_;
}
