// Tapping and painting on the photo. The list of corrections is the history: undoing takes off its last item.

class Correcting {
  constructor(parent, data, send) {
    this.data = data;
    this.send = send;
    this.parts = partsOf(parent);
    this.off = new AbortController();
    this.mode = "look";
    this.items = [...data.corrections];
    this.undone = [];
    this.live = null;
    this.view = new PhotoView(this.parts.photo, data.size, this);
    this.overlay = new Overlay(this.view, data.regions, data.finishes);
    this.setBrush(data.brush_px);
    this.controls();
    this.view.load(data.photo);
    this.changed(false);
    this.parts.photo.scrollIntoView({ block: "nearest" });
  }

  close() {
    this.off.abort();
    this.view.close();
  }

  controls() {
    const { parts } = this;
    const signal = this.off.signal;
    const on = (part, kind, react) => part.addEventListener(kind, react, { signal });
    zoomButtons(parts, this.view, signal);
    for (const mode of ["look", "paint_in", "paint_out"]) on(parts[mode], "click", () => this.setMode(mode));
    on(parts.undo, "click", () => this.undo());
    on(parts.redo, "click", () => this.redo());
    on(parts.next, "click", () => this.step(1));
    on(parts.previous, "click", () => this.step(-1));
    for (const { id } of this.data.finishes) on(parts[`is_${id}`], "click", () => this.decide(id));
    on(parts.leave_out, "click", () => this.decide(null));
    on(parts.strength, "input", () => {
      this.overlay.strength = Number(parts.strength.value) / 100;
      this.view.draw();
    });
    on(parts.brush, "input", () => this.setBrush(this.brushOf(Number(parts.brush.value))));
    this.setMode("look");
  }

  // --- the brush: its slider is even in the logarithm of the diameter

  brushOf(position) {
    const [least, most] = this.data.brush_range_px;
    return least * (most / least) ** (position / 100);
  }

  setBrush(diameter) {
    const [least, most] = this.data.brush_range_px;
    this.radius = Math.min(Math.max(diameter, least), most) / 2;
    this.parts.brush.value = Math.round((100 * Math.log((2 * this.radius) / least)) / Math.log(most / least));
    const mm = this.data.px_per_mm ? (2 * this.radius) / this.data.px_per_mm : null;
    const size = mm ? `${mm < 1 ? mm.toFixed(2) : mm.toFixed(1)} mm` : `${Math.round(2 * this.radius)} px`;
    this.parts.brush_size.textContent = size;
    this.parts.brush.setAttribute("aria-valuetext", size);
    this.view.draw();
  }

  setMode(mode) {
    this.mode = mode;
    this.live = null;
    for (const each of ["look", "paint_in", "paint_out"])
      this.parts[each].setAttribute("aria-pressed", String(each === mode));
    this.parts.brush_row.hidden = mode === "look";
    this.parts.finish_row.hidden = mode !== "paint_in";
    this.parts.chosen_row.hidden = mode !== "look";
    this.parts.photo.style.cursor = mode === "look" ? "grab" : "none";
    this.view.draw();
  }

  // --- what PhotoView asks of its tool

  letsPageScroll() {
    return this.mode === "look";
  }

  grab(at, event) {
    if (this.mode === "look") return false;
    this.begin(at);
    return event.button === 0;
  }

  begin(at) {
    this.live = { kind: this.mode, path_px: [rounded(at)], radius_px: Math.round(this.radius * 100) / 100 };
    if (this.mode === "paint_in") this.live.finish = this.parts.paint_finish.value;
  }

  drag(at) {
    const last = this.live.path_px.at(-1);
    if (Math.hypot(at[0] - last[0], at[1] - last[1]) >= Math.max(0.5, this.radius / 8)) this.live.path_px.push(rounded(at));
  }

  drop() {
    if (this.live) this.add(this.live);
    this.live = null;
  }

  cancel() {
    this.live = null;
  }

  tap(at) {
    this.select(this.overlay.at(at, 14 / this.view.zoom));
  }

  act(at) {
    if (this.mode === "look") return this.tap(at);
    if (this.live) {
      this.drop();
      return this.say("Brush lifted.");
    }
    this.begin(at);
    this.say("Brush down: move with the arrow keys, lift it with Enter.");
  }

  key(event) {
    const letter = event.key.toLowerCase();
    if ((event.ctrlKey || event.metaKey) && letter === "z") return this[event.shiftKey ? "redo" : "undo"](), true;
    if ((event.ctrlKey || event.metaKey) && letter === "y") return this.redo(), true;
    if (event.key === "Escape") return (this.live = null), this.select(null), true;
    if (event.key === "[" || event.key === "]") return this.setBrush(2 * this.radius * (event.key === "]" ? 1.2 : 1 / 1.2)), true;
    if (this.live && event.key.startsWith("Arrow"))
      requestAnimationFrame(() => this.live && (this.drag(this.view.centre), this.view.draw()));
    return false;
  }

  paint(ctx) {
    this.overlay.paint(ctx, this.live);
    const { view } = this;
    if (this.mode === "look") return;
    const at = view.byKeys ? [view.across / 2, view.down / 2] : view.hover ?? [...view.pointers.values()][0]?.at;
    if (!at) return;
    const ring = new Path2D();
    ring.arc(...at, this.radius * view.zoom, 0, 7);
    haloed(ctx, ring, "#000", "#fff", 1.5);
  }

  // --- regions

  select(region) {
    const { parts } = this;
    this.overlay.selected = region;
    const buttons = [...this.data.finishes.map(({ id }) => [parts[`is_${id}`], id]), [parts.leave_out, null]];
    const fate = region ? this.overlay.fates.get(region) : undefined;
    for (const [button, id] of buttons) {
      button.disabled = !region;
      button.setAttribute("aria-pressed", String(region !== null && id === fate));
    }
    const word = this.data.finishes.find(({ id }) => id === fate)?.words ?? "left out";
    const size = region?.area ? `, ${region.area}` : "";
    parts.chosen.textContent = region
      ? `Region ${region.number} of ${this.data.regions.length}: ${word}${size}`
      : this.data.regions.length ? "Tap a coloured region to change it." : "No region was found; paint in what is plated.";
    this.view.draw();
  }

  step(by) {
    const { regions } = this.overlay;
    if (!regions.length) return;
    const now = regions.indexOf(this.overlay.selected);
    const region = regions[now < 0 ? (by > 0 ? 0 : regions.length - 1) : (now + by + regions.length) % regions.length];
    this.setMode("look");
    this.view.goTo(region.at_px, Math.max(this.view.zoom, Math.min(8, this.view.down / 3 / Math.max(region.reach_px, 4))));
    this.select(region);
  }

  decide(finish) {
    const region = this.overlay.selected;
    if (!region || this.overlay.fates.get(region) === finish) return;
    this.add(finish ? { kind: "finish", at_px: region.at_px, finish } : { kind: "leave_out", at_px: region.at_px });
  }

  // --- the list

  add(item) {
    this.items.push(item);
    this.undone = [];
    this.changed();
  }

  undo() {
    if (!this.items.length) return;
    this.undone.push(this.items.pop());
    this.changed();
    this.say("Undone.");
  }

  redo() {
    if (!this.undone.length) return;
    this.items.push(this.undone.pop());
    this.changed();
    this.say("Done again.");
  }

  changed(send = true) {
    this.parts.undo.disabled = !this.items.length;
    this.parts.redo.disabled = !this.undone.length;
    this.overlay.show(this.items);
    this.select(this.overlay.selected);
    if (send) this.send([...this.items]);
  }

  say(text) {
    this.parts.told.textContent = text;
  }
}

const open = new WeakMap();

export default function ({ data, parentElement, setStateValue }) {
  const known = open.get(parentElement);
  if (known?.data.version === data.version) {
    known.send = (items) => setStateValue("corrections", items);
    return known.close_;
  }
  known?.close();
  const made = new Correcting(parentElement, data, (items) => setStateValue("corrections", items));
  made.close_ = () => {
    made.close();
    open.delete(parentElement);
  };
  open.set(parentElement, made);
  return made.close_;
}
