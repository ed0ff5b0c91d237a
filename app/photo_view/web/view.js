// A photo that can be moved and enlarged to its pixels by finger, mouse, wheel and keyboard.
// Places are in px of the photo, integer = pixel centre, as everywhere in the program.

const TAP_PX = 7;
const MOST_ZOOM = 40; // CSS px for each px of the photo
const SHARP_FROM = 2; // from here on pixels are drawn as squares

class PhotoView {
  // tool: { grab(at, event) -> bool, drag(at), drop(at), cancel(), tap(at), act(at), key(event) -> bool, paint(ctx) }
  constructor(canvas, size, tool) {
    this.canvas = canvas;
    this.context = canvas.getContext("2d");
    [this.width, this.height] = size;
    canvas.style.aspectRatio = `${this.width} / ${this.height}`;
    this.tool = tool;
    this.pointers = new Map();
    this.hover = null; // last place of a mouse over the photo, in CSS px
    this.byKeys = false; // the keyboard acts on the middle of the view, which then wears a cross
    this.off = new AbortController();
    this.images = { preview: null, whole: null };
    this.centre = [(this.width - 1) / 2, (this.height - 1) / 2];
    this.zoom = 0;
    this.listen();
    this.watcher = new ResizeObserver(() => this.resize());
    this.watcher.observe(canvas);
    this.resize();
  }

  close() {
    this.off.abort();
    this.watcher.disconnect();
    cancelAnimationFrame(this.frame);
  }

  load(urls) {
    this.urls = urls;
    this.fetch("preview");
  }

  fetch(which) {
    if (this.images[which] !== null || !this.urls) return;
    const image = new Image();
    this.images[which] = image;
    image.onload = () => {
      image.ready = true;
      this.draw();
    };
    image.src = this.urls[which];
  }

  // --- where things are

  get whole() {
    return Math.min(this.across / this.width, this.down / this.height);
  }

  toScreen([x, y]) {
    return [(x - this.centre[0]) * this.zoom + this.across / 2, (y - this.centre[1]) * this.zoom + this.down / 2];
  }

  toPhoto([x, y]) {
    return [(x - this.across / 2) / this.zoom + this.centre[0], (y - this.down / 2) / this.zoom + this.centre[1]];
  }

  place(event) {
    const box = this.canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  resize() {
    const box = this.canvas.getBoundingClientRect();
    if (!box.width || !box.height) return;
    const wasWhole = !this.zoom || this.zoom <= this.whole * 1.001;
    this.across = box.width;
    this.down = box.height;
    this.density = window.devicePixelRatio || 1;
    this.canvas.width = Math.round(box.width * this.density);
    this.canvas.height = Math.round(box.height * this.density);
    if (wasWhole) this.fit();
    else this.draw();
  }

  fit() {
    this.centre = [(this.width - 1) / 2, (this.height - 1) / 2];
    this.zoom = this.whole;
    this.draw();
  }

  zoomBy(factor, at = [this.across / 2, this.down / 2]) {
    const fixed = this.toPhoto(at);
    this.zoom = Math.min(Math.max(this.zoom * factor, this.whole), Math.max(MOST_ZOOM, this.whole));
    this.centre = [fixed[0] - (at[0] - this.across / 2) / this.zoom, fixed[1] - (at[1] - this.down / 2) / this.zoom];
    if (this.zoom <= this.whole) this.fit();
    else this.keepInside();
  }

  moveBy(dx, dy) {
    this.centre = [this.centre[0] - dx / this.zoom, this.centre[1] - dy / this.zoom];
    this.keepInside();
  }

  goTo(at, zoom = this.zoom) {
    this.zoom = Math.min(Math.max(zoom, this.whole), MOST_ZOOM);
    this.centre = [...at];
    this.keepInside();
  }

  keepInside() {
    // the middle of the view may reach any pixel, so that the keyboard can
    this.centre = [
      Math.min(Math.max(this.centre[0], 0), this.width - 1),
      Math.min(Math.max(this.centre[1], 0), this.height - 1),
    ];
    this.draw();
  }

  // --- what is done to it

  listen() {
    const on = (kind, react, options = {}) =>
      this.canvas.addEventListener(kind, react, { signal: this.off.signal, ...options });
    on("pointerdown", (event) => this.press(event));
    on("pointermove", (event) => this.move(event));
    on("pointerup", (event) => this.lift(event, true));
    on("pointercancel", (event) => this.lift(event, false));
    on("pointerleave", () => {
      this.hover = null;
      this.draw();
    });
    on("keydown", (event) => this.key(event));
    on("blur", () => {
      this.byKeys = false;
      this.draw();
    });
    on(
      "wheel",
      (event) => {
        if (event.deltaY > 0 && this.zoom <= this.whole * 1.001) return; // nothing to shrink: the page scrolls on
        event.preventDefault();
        const lines = event.deltaMode === 1 ? 16 : 1;
        // a wheel tells its place in whole px only; the pointer's last move knew better
        this.zoomBy(Math.exp(-event.deltaY * lines * 0.002), this.hover ?? this.place(event));
      },
      { passive: false },
    );
  }

  press(event) {
    if (event.button > 1) return;
    this.byKeys = false;
    this.canvas.setPointerCapture(event.pointerId);
    const at = this.place(event);
    this.pointers.set(event.pointerId, { at, from: at, moved: false });
    if (this.pointers.size === 1) {
      this.held = event.button === 0 && this.tool.grab(this.toPhoto(at), event);
    } else {
      if (this.held) this.tool.cancel();
      this.held = false;
      this.pointers.forEach((pointer) => (pointer.moved = true));
    }
    this.draw();
  }

  move(event) {
    const at = this.place(event);
    if (event.pointerType === "mouse") this.hover = at;
    const pointer = this.pointers.get(event.pointerId);
    if (pointer === undefined) return this.draw();
    const before = pointer.at;
    if (Math.hypot(at[0] - pointer.from[0], at[1] - pointer.from[1]) > TAP_PX) pointer.moved = true;
    if (this.pointers.size === 2) this.pinch(event.pointerId, at);
    pointer.at = at;
    if (this.pointers.size === 1) {
      if (this.held) this.tool.drag(this.toPhoto(at));
      else if (pointer.moved) this.moveBy(at[0] - before[0], at[1] - before[1]);
    }
    this.draw();
  }

  pinch(id, at) {
    const [other] = [...this.pointers].filter(([key]) => key !== id).map(([, pointer]) => pointer.at);
    const before = this.pointers.get(id).at;
    const apart = (a) => Math.max(Math.hypot(a[0] - other[0], a[1] - other[1]), 1);
    this.moveBy((at[0] - before[0]) / 2, (at[1] - before[1]) / 2);
    this.zoomBy(apart(at) / apart(before), [(at[0] + other[0]) / 2, (at[1] + other[1]) / 2]);
  }

  lift(event, meant) {
    const pointer = this.pointers.get(event.pointerId);
    if (pointer === undefined) return;
    this.pointers.delete(event.pointerId);
    const at = this.toPhoto(this.place(event));
    if (this.pointers.size === 0) {
      if (this.held) meant ? this.tool.drop(at) : this.tool.cancel();
      else if (meant && !pointer.moved) this.tool.tap(at);
      this.held = false;
    }
    this.draw();
  }

  key(event) {
    const step = event.shiftKey ? this.zoom : 24;
    const react = {
      ArrowLeft: () => this.moveBy(step, 0),
      ArrowRight: () => this.moveBy(-step, 0),
      ArrowUp: () => this.moveBy(0, step),
      ArrowDown: () => this.moveBy(0, -step),
      "+": () => this.zoomBy(1.4),
      "=": () => this.zoomBy(1.4),
      "-": () => this.zoomBy(1 / 1.4),
      0: () => this.fit(),
      Enter: () => this.tool.act(this.centre),
      " ": () => this.tool.act(this.centre),
    }[event.key];
    this.byKeys = true;
    if (!this.tool.key(event)) {
      if (react === undefined || event.ctrlKey || event.metaKey || event.altKey) return;
      react();
    }
    event.preventDefault();
    this.draw();
  }

  // --- how it looks

  draw() {
    cancelAnimationFrame(this.frame);
    this.frame = requestAnimationFrame(() => this.paint());
  }

  paint() {
    if (!this.zoom) return;
    const ctx = this.context;
    ctx.setTransform(this.density, 0, 0, this.density, 0, 0);
    ctx.clearRect(0, 0, this.across, this.down);
    this.picture(ctx, this.zoom, this.toScreen([0, 0]), [this.across, this.down]);
    this.tool.paint(ctx);
    if (this.byKeys) this.cross(ctx, [this.across / 2, this.down / 2], 14);
    this.canvas.style.touchAction = this.zoom <= this.whole * 1.001 && this.tool.letsPageScroll() ? "pan-y" : "none";
  }

  // the photo with its first pixel's centre at `origin`, as far as it shows in a window of `size`
  picture(ctx, zoom, origin, size) {
    const { preview, whole } = this.images;
    const fine = preview?.ready && zoom * this.density > (preview.naturalWidth / this.width) * 1.1;
    if (fine) this.fetch("whole");
    const image = fine && whole?.ready ? whole : preview;
    if (!image?.ready) return;
    const left = origin[0] - zoom / 2;
    const top = origin[1] - zoom / 2;
    const x0 = Math.max(0, Math.floor(-left / zoom));
    const y0 = Math.max(0, Math.floor(-top / zoom));
    const x1 = Math.min(this.width, Math.ceil((size[0] - left) / zoom));
    const y1 = Math.min(this.height, Math.ceil((size[1] - top) / zoom));
    if (x0 >= x1 || y0 >= y1) return;
    const k = image.naturalWidth / this.width;
    const l = image.naturalHeight / this.height;
    ctx.imageSmoothingEnabled = zoom < SHARP_FROM;
    ctx.imageSmoothingQuality = "high";
    ctx.drawImage(
      image, x0 * k, y0 * l, (x1 - x0) * k, (y1 - y0) * l,
      left + x0 * zoom, top + y0 * zoom, (x1 - x0) * zoom, (y1 - y0) * zoom,
    );
  }

  cross(ctx, [x, y], arm, gap = 3) {
    const lines = new Path2D();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      lines.moveTo(x + dx * gap, y + dy * gap);
      lines.lineTo(x + dx * arm, y + dy * arm);
    }
    haloed(ctx, lines, "#000", "#fff", 1.5);
  }

  // the surroundings of a place, enlarged, in the corner that the finger leaves free
  loupe(ctx, at) {
    this.fetch("whole");
    const radius = Math.min(76, this.across / 5);
    const [x, y] = this.toScreen(at);
    const middle = [x < this.across / 2 ? this.across - radius - 8 : radius + 8, y < radius * 2.6 && x > this.across / 3 && x < this.across / 1.5 ? this.down - radius - 8 : radius + 8];
    const zoom = Math.max(8, this.zoom * 2);
    ctx.save();
    ctx.beginPath();
    ctx.arc(...middle, radius, 0, 7);
    ctx.fillStyle = "#000";
    ctx.fill();
    ctx.clip();
    this.picture(ctx, zoom, [middle[0] - at[0] * zoom, middle[1] - at[1] * zoom], [this.across, this.down]);
    this.cross(ctx, middle, radius, zoom / 2);
    ctx.restore();
    const rim = new Path2D();
    rim.arc(...middle, radius, 0, 7);
    haloed(ctx, rim, "#000", "#fff", 2);
  }
}

// a line that shows on any ground
function haloed(ctx, path, ink, halo, width, dash = []) {
  ctx.save();
  ctx.lineJoin = ctx.lineCap = "round";
  ctx.setLineDash([]);
  ctx.strokeStyle = halo;
  ctx.lineWidth = width + 2;
  ctx.stroke(path);
  ctx.setLineDash(dash);
  ctx.strokeStyle = ink;
  ctx.lineWidth = width;
  ctx.stroke(path);
  ctx.restore();
}

function rounded([x, y]) {
  return [Math.round(x * 10) / 10, Math.round(y * 10) / 10];
}

// the parts of the component's HTML by their data-part
function partsOf(parent) {
  return Object.fromEntries([...parent.querySelectorAll("[data-part]")].map((part) => [part.dataset.part, part]));
}

function zoomButtons(parts, view, signal) {
  const on = (part, react) => part.addEventListener("click", react, { signal });
  on(parts.nearer, () => view.zoomBy(1.6));
  on(parts.further, () => view.zoomBy(1 / 1.6));
  on(parts.whole, () => view.fit());
}
