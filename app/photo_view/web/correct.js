// Tapping, painting and outlining on the photo. The list of corrections is the history: undoing takes off its last item.

const MODES = ["look", "drop", "paint_in", "paint_out"];
const TOOLS = ["brush", "polygon"];
const SCOPES = ["one", "row", "board"];
const CLOSE_PX = 22; // so near to its first corner a tap closes a polygon

class Correcting {
  // was: the picture that this one takes the place of, whose view and tools stay
  constructor(parent, data, send, was) {
    this.data = data;
    this.send = send;
    this.parts = partsOf(parent);
    this.off = new AbortController();
    this.mode = was?.mode ?? "look";
    this.tool = was?.tool ?? "brush";
    this.scope = was?.scope ?? "one";
    this.items = [...data.done];
    this.undone = [...data.undone];
    this.live = null; // the stroke that is being painted
    this.corners = []; // of the polygon that is being set
    this.takeUp();
    this.aim = null; // where its next corner would be, while a finger or button is down
    this.view = new PhotoView(this.parts.photo, data.size, this);
    this.overlay = new Overlay(this.view, data.regions, data.finishes);
    this.setBrush(was ? 2 * was.radius : data.brush_px);
    this.controls();
    this.view.load(data.photo);
    this.changed(false);
    if (was?.view.zoom) this.view.goTo(was.view.centre, was.view.zoom);
    else this.parts.photo.scrollIntoView({ block: "nearest" });
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
    for (const mode of MODES) on(parts[mode], "click", () => this.set(mode, this.tool, this.scope));
    for (const tool of TOOLS) on(parts[tool], "click", () => this.set(this.mode, tool, this.scope));
    for (const scope of SCOPES) on(parts[scope], "click", () => this.set(this.mode, this.tool, scope));
    on(parts.undo, "click", () => this.undo());
    on(parts.redo, "click", () => this.redo());
    on(parts.take_back, "click", () => this.takeBack());
    on(parts.next, "click", () => this.step(1));
    on(parts.previous, "click", () => this.step(-1));
    on(parts.close_polygon, "click", () => this.closePolygon());
    for (const { id } of this.data.finishes) on(parts[`is_${id}`], "click", () => this.decide(id));
    on(parts.leave_out, "click", () => this.decide(null));
    on(parts.bare, "input", () => this.setBare());
    on(parts.brush_width, "input", () => this.setBrush(this.brushOf(Number(parts.brush_width.value))));
    this.setBare();
    this.set(this.mode, this.tool, this.scope);
  }

  setBare() {
    this.overlay.bare = Number(this.parts.bare.value) / 100;
    this.view.draw();
  }

  // --- the brush: its slider is even in the logarithm of the diameter

  brushOf(position) {
    const [least, most] = this.data.brush_range_px;
    return least * (most / least) ** (position / 100);
  }

  setBrush(diameter) {
    const [least, most] = this.data.brush_range_px;
    this.radius = Math.min(Math.max(diameter, least), most) / 2;
    this.parts.brush_width.value = Math.round((100 * Math.log((2 * this.radius) / least)) / Math.log(most / least));
    const mm = this.data.px_per_mm ? (2 * this.radius) / this.data.px_per_mm : null;
    const size = mm ? `${mm < 1 ? mm.toFixed(2) : mm.toFixed(1)} mm` : `${Math.round(2 * this.radius)} px`;
    this.parts.brush_size.textContent = size;
    this.parts.brush_width.setAttribute("aria-valuetext", size);
    this.view.draw();
  }

  get paints() {
    return this.mode === "paint_in" || this.mode === "paint_out";
  }

  get outlines() {
    return this.paints && this.tool === "polygon";
  }

  set(mode, tool, scope) {
    if (mode !== this.mode || tool !== this.tool) this.closePolygon(); // what was begun is kept, and can be undone
    Object.assign(this, { mode, tool, scope, live: null, aim: null });
    const { parts } = this;
    for (const [names, now] of [[MODES, mode], [TOOLS, tool], [SCOPES, scope]])
      for (const name of names) parts[name].setAttribute("aria-pressed", String(name === now));
    parts.tool_row.hidden = !this.paints;
    parts.brush_row.hidden = !this.paints || tool !== "brush";
    parts.polygon_row.hidden = !this.outlines;
    parts.finish_row.hidden = mode !== "paint_in";
    parts.scope_row.hidden = this.paints;
    parts.chosen_row.hidden = mode !== "look";
    parts.photo.style.cursor = this.paints ? (tool === "brush" ? "none" : "crosshair") : mode === "look" ? "grab" : "pointer";
    this.tellPolygon();
    this.select(this.overlay.selected);
  }

  // --- what PhotoView asks of its tool

  letsPageScroll() {
    return !this.paints;
  }

  grab(at, event) {
    if (!this.paints) return false;
    if (this.outlines) this.aim = at;
    else this.begin(at);
    return event.button === 0;
  }

  begin(at) {
    this.live = { kind: this.mode, path_px: [rounded(at)], radius_px: Math.round(this.radius * 100) / 100 };
    if (this.mode === "paint_in") this.live.finish = this.parts.paint_finish.value;
  }

  drag(at) {
    if (this.outlines) return (this.aim = at);
    const last = this.live.path_px.at(-1);
    if (Math.hypot(at[0] - last[0], at[1] - last[1]) >= Math.max(0.5, this.radius / 8)) this.live.path_px.push(rounded(at));
  }

  drop(at) {
    if (this.outlines) this.corner(at);
    else if (this.live) this.add(this.live);
    this.live = this.aim = null;
  }

  cancel() {
    this.live = this.aim = null;
  }

  tap(at) {
    const region = this.overlay.at(at, 14 / this.view.zoom);
    this.select(region);
    if (this.mode === "drop" && region && !this.decide(null)) this.say("That is left out already.");
  }

  act(at) {
    if (!this.paints) return this.tap(at);
    if (this.outlines) return this.corner(at);
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
    if (event.key === "Escape") return (this.live = null), (this.corners = []), this.tellPolygon(), this.select(null), true;
    if (event.key === "[" || event.key === "]") return this.setBrush(2 * this.radius * (event.key === "]" ? 1.2 : 1 / 1.2)), true;
    if (this.live && event.key.startsWith("Arrow"))
      requestAnimationFrame(() => this.live && (this.drag(this.view.centre), this.view.draw()));
    return false;
  }

  paint(ctx) {
    const { view } = this;
    this.overlay.paint(ctx, this.live);
    if (!this.paints) return;
    if (this.outlines) return this.paintPolygon(ctx);
    const at = view.byKeys ? [view.across / 2, view.down / 2] : view.hover ?? [...view.pointers.values()][0]?.at;
    if (!at) return;
    const ring = new Path2D();
    ring.arc(...at, this.radius * view.zoom, 0, 7);
    haloed(ctx, ring, "#000", "#fff", 1.5);
  }

  // --- a polygon, corner by corner

  corner(at) {
    const { view } = this;
    const inside = [Math.min(Math.max(at[0], 0), view.width - 1), Math.min(Math.max(at[1], 0), view.height - 1)];
    if (this.corners.length > 2 && this.near(inside)) return this.closePolygon();
    this.corners.push(rounded(inside));
    this.tellPolygon();
    this.undoable();
    view.draw();
  }

  near(at) {
    const [a, b] = [this.corners[0], at].map((place) => this.view.toScreen(place));
    return Math.hypot(a[0] - b[0], a[1] - b[1]) <= CLOSE_PX;
  }

  closePolygon() {
    const corners = this.corners;
    this.corners = [];
    this.tellPolygon();
    if (corners.length < 3) return this.undoable();
    const onScreen = Math.round(1000 / this.view.zoom) / 1000;
    const item = { kind: this.mode === "paint_in" ? "fill_in" : "fill_out", corners_px: corners, px_per_screen_px: onScreen };
    if (this.mode === "paint_in") item.finish = this.parts.paint_finish.value;
    this.add(item);
  }

  // --- a polygon that is half drawn outlives a reload of this window, which alone knows of it

  get place() {
    return `polygon-${this.data.sha256}`;
  }

  takeUp() {
    try {
      const kept = JSON.parse(sessionStorage.getItem(this.place));
      if (!kept) return;
      const { mode, finish, corners } = kept;
      Object.assign(this, { mode, tool: "polygon", corners });
      this.parts.paint_finish.value = finish;
    } catch {} // a browser that keeps nothing, or something else that was kept there
  }

  keepCorners() {
    try {
      if (!this.corners.length) return sessionStorage.removeItem(this.place);
      const { mode, corners } = this;
      sessionStorage.setItem(this.place, JSON.stringify({ mode, finish: this.parts.paint_finish.value, corners }));
    } catch {}
  }

  tellPolygon() {
    const count = this.corners.length;
    this.keepCorners();
    this.parts.close_polygon.disabled = count < 3;
    this.parts.corners.textContent =
      count === 0 ? "Tap the corners of what you outline." : count < 3 ? `${count} of at least 3 corners.` : `${count} corners. Tap the first one to close it.`;
  }

  paintPolygon(ctx) {
    const { view } = this;
    const places = [...this.corners, ...(this.aim ? [this.aim] : [])].map((at) => view.toScreen(at));
    if (places.length) {
      const line = new Path2D();
      places.forEach((at, i) => (i ? line.lineTo(...at) : line.moveTo(...at)));
      haloed(ctx, line, "#000", "#fff", 2);
      const first = new Path2D();
      first.arc(...places[0], this.corners.length > 2 ? 11 : 5, 0, 7);
      haloed(ctx, first, "#000", "#fff", 2);
    }
    if (this.aim) view.loupe(ctx, this.aim);
  }

  // --- regions

  groupOf(region) {
    if (!region) return [];
    const by = this.scope === "one" ? null : region[this.scope];
    if (by === null || by === undefined) return [region];
    return [region, ...this.overlay.regions.filter((each) => each !== region && each[this.scope] === by)];
  }

  select(region) {
    const { parts, overlay } = this;
    overlay.selected = region;
    overlay.group = this.groupOf(region);
    const fates = new Set(overlay.group.map((each) => overlay.fates.get(each)));
    const fate = fates.size === 1 ? [...fates][0] : undefined;
    const buttons = [...this.data.finishes.map(({ id }) => [parts[`is_${id}`], id]), [parts.leave_out, null]];
    for (const [button, id] of buttons) {
      button.disabled = !region;
      button.setAttribute("aria-pressed", String(region !== null && id === fate));
    }
    parts.chosen.textContent = region
      ? this.inWords(region, fates)
      : this.data.regions.length ? "Tap a hatched place to choose it." : "Nothing was found; paint in what is plated.";
    this.view.draw();
  }

  inWords(region, fates) {
    const { group } = this.overlay;
    const words = (id) => this.data.finishes.find((finish) => finish.id === id)?.words ?? "left out";
    const what = [...fates].map(words).join(" and ");
    const size = region.mm2 === null ? "" : `, ${Number(group.reduce((sum, each) => sum + each.mm2, 0).toPrecision(3))} mm²`;
    const all = this.data.regions.length;
    if (group.length > 1) return `Whole ${this.scope}: ${group.length} of ${all} places, ${what}${size}`;
    const alone = this.scope === "one" ? "" : this.scope === "row" ? ", in no row" : ", on no known board";
    return `Place ${region.number} of ${all}: ${what}${size}${alone}`;
  }

  step(by) {
    const { regions } = this.overlay;
    if (!regions.length) return;
    const now = regions.indexOf(this.overlay.selected);
    const region = regions[now < 0 ? (by > 0 ? 0 : regions.length - 1) : (now + by + regions.length) % regions.length];
    this.view.goTo(region.at_px, Math.max(this.view.zoom, Math.min(8, this.view.down / 3 / Math.max(region.reach_px, 4))));
    this.select(region);
  }

  // true if that changed anything
  decide(finish) {
    const group = this.overlay.group.filter((each) => this.overlay.fates.get(each) !== finish);
    if (!group.length) return false;
    const [at_px, ...also_px] = group.map((each) => each.at_px);
    const also = also_px.length ? { also_px } : {};
    this.add(finish ? { kind: "finish", at_px, finish, ...also } : { kind: "leave_out", at_px, ...also });
    return true;
  }

  // --- the list

  add(item) {
    this.items.push(item);
    this.undone = [];
    this.changed();
  }

  undo() {
    if (this.corners.length) {
      this.corners.pop();
      this.tellPolygon();
      this.undoable();
      return this.view.draw();
    }
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

  takeBack() {
    while (this.items.length) this.undone.push(this.items.pop());
    this.changed();
    this.say("All corrections are undone.");
  }

  undoable() {
    const { parts } = this;
    parts.undo.disabled = !this.items.length && !this.corners.length;
    parts.redo.disabled = !this.undone.length;
    parts.take_back.disabled = !this.items.length;
  }

  changed(send = true) {
    this.undoable();
    this.overlay.show(this.items);
    this.select(this.overlay.selected);
    if (send) this.send({ version: this.data.version, done: [...this.items], undone: [...this.undone] });
  }

  say(text) {
    this.parts.told.textContent = text;
  }
}

const open = new WeakMap();

export default function ({ data, parentElement, setStateValue }) {
  const known = open.get(parentElement);
  const send = (made) => setStateValue("corrections", made);
  if (known?.data.version === data.version) {
    known.send = send;
    return known.close_;
  }
  known?.close();
  const made = new Correcting(parentElement, data, send, known);
  made.close_ = () => {
    made.close();
    open.delete(parentElement);
  };
  open.set(parentElement, made);
  return made.close_;
}
