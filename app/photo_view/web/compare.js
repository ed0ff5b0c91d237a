// The photo as it is before an edge that can be moved, and with what was found behind it.

const GRAB_PX = 30; // so near to the edge a finger moves it

class Comparing {
  constructor(parent, data) {
    this.data = data;
    this.parts = partsOf(parent);
    this.off = new AbortController();
    this.found = new Image();
    this.view = new PhotoView(this.parts.photo, data.size, this);
    this.found.onload = () => this.view.draw();
    this.found.src = data.overlay;
    zoomButtons(this.parts, this.view, this.off.signal);
    this.parts.bare.addEventListener("input", () => this.view.draw(), { signal: this.off.signal });
    this.view.load(data.photo);
  }

  close() {
    this.off.abort();
    this.view.close();
  }

  get edge() {
    return (this.view.across * Number(this.parts.bare.value)) / 100;
  }

  letsPageScroll() {
    return true;
  }

  grab(at) {
    return this.edge > 0 && Math.abs(this.view.toScreen(at)[0] - this.edge) < GRAB_PX;
  }

  drag(at) {
    this.parts.bare.value = Math.round((100 * this.view.toScreen(at)[0]) / this.view.across);
  }

  drop() {}
  cancel() {}
  tap() {}
  act() {}
  key() {
    return false;
  }

  paint(ctx) {
    const { view, edge } = this;
    if (!this.found.complete || !this.found.naturalWidth || edge >= view.across) return;
    const [left, top] = view.toScreen([-0.5, -0.5]);
    ctx.save();
    ctx.beginPath();
    ctx.rect(edge, 0, view.across - edge, view.down);
    ctx.clip();
    ctx.imageSmoothingEnabled = true;
    ctx.imageSmoothingQuality = "high";
    ctx.drawImage(this.found, left, top, view.width * view.zoom, view.height * view.zoom);
    ctx.restore();
    if (edge <= 0) return;
    const line = new Path2D();
    line.moveTo(edge, 0);
    line.lineTo(edge, view.down);
    line.moveTo(edge + 9, view.down / 2);
    line.arc(edge, view.down / 2, 9, 0, 7);
    haloed(ctx, line, "#000", "#fff", 2);
  }
}

const open = new WeakMap();

export default function ({ data, parentElement }) {
  const known = open.get(parentElement);
  if (known?.data.version === data.version) return known.close_;
  known?.close();
  const made = new Comparing(parentElement, data);
  made.close_ = () => {
    made.close();
    open.delete(parentElement);
  };
  open.set(parentElement, made);
  return made.close_;
}
