// What was found and what was painted, drawn over the photo: colour, hatching and outline for each finish.

const HATCH = {
  // told apart without colour: by name, as finishes.toml gives them
  lines: (ctx) => { ctx.moveTo(-2, 10); ctx.lineTo(10, -2); ctx.moveTo(-2, 2); ctx.lineTo(2, -2); ctx.moveTo(6, 10); ctx.lineTo(10, 6); },
  dots: (ctx) => { ctx.moveTo(2, 2); ctx.arc(2, 2, 0.6, 0, 7); ctx.moveTo(6, 6); ctx.arc(6, 6, 0.6, 0, 7); },
  crosses: (ctx) => { ctx.moveTo(0, 4); ctx.lineTo(8, 4); ctx.moveTo(4, 0); ctx.lineTo(4, 8); },
  rungs: (ctx) => { ctx.moveTo(0, 2); ctx.lineTo(8, 2); ctx.moveTo(0, 6); ctx.lineTo(8, 6); },
  waves: (ctx) => { ctx.moveTo(0, 4); ctx.bezierCurveTo(2, 0, 6, 8, 8, 4); },
};

class Overlay {
  constructor(view, regions, finishes) {
    this.view = view;
    this.finishes = finishes;
    this.layer = document.createElement("canvas");
    this.styles = Object.fromEntries(finishes.map((finish) => [finish.id, this.style(finish)]));
    this.regions = regions.map((region) => ({ ...region, path: outline(region.outlines) }));
    const reaches = regions.map((region) => region.reach_px).sort((a, b) => a - b);
    this.usualReach = reaches[reaches.length >> 1] ?? 1;
    this.byPlace = new Map(this.regions.map((region) => [String(region.at_px), region]));
    this.bare = 0; // share of the view, from its left edge, that shows the photo as it is
    this.items = [];
    this.selected = null;
    this.group = []; // what an action acts on: the selected region, its row or its board
  }

  style({ rgb, hatch }) {
    const tile = document.createElement("canvas");
    const scale = this.view.density || 1;
    tile.width = tile.height = Math.round(8 * scale);
    const ctx = tile.getContext("2d");
    ctx.scale(tile.width / 8, tile.height / 8);
    // a thin tint, through which the metal shows, and white lines with dark ones beside them: seen on any ground
    ctx.globalAlpha = 0.35;
    ctx.fillStyle = `rgb(${rgb})`;
    ctx.fillRect(0, 0, 8, 8);
    ctx.globalAlpha = 0.9;
    for (const [ink, width] of [["#141414", 2.6], ["#fff", 1.1]]) {
      ctx.strokeStyle = ink;
      ctx.lineWidth = width;
      ctx.beginPath();
      HATCH[hatch](ctx);
      ctx.stroke();
    }
    return this.view.context.createPattern(tile, "repeat");
  }

  // the state of each region after the corrections: its finish, or null where it is left out
  show(items) {
    this.items = items;
    const fates = new Map(this.regions.map((region) => [region, region.finish]));
    for (const item of items) {
      if (!["finish", "confirm", "leave_out"].includes(item.kind)) continue;
      for (const at of [item.at_px, ...(item.also_px ?? [])]) {
        const region = this.byPlace.get(String(at)) ?? this.at(at);
        // confirmed is as it was found, or as a person said before, unless it was left out
        if (!region || (item.kind === "confirm" && fates.get(region) !== null)) continue;
        fates.set(region, { finish: item.finish, confirm: region.finish, leave_out: null }[item.kind]);
      }
    }
    this.fates = fates;
    this.view.draw();
  }

  // the region at a place, or the nearest one within `reach` px of its middle's box
  at([x, y], reach = 0) {
    const ctx = this.view.context;
    ctx.save();
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    const hit = this.regions.findLast((region) => ctx.isPointInPath(region.path, x + 0.5, y + 0.5, "evenodd"));
    ctx.restore();
    if (hit || !reach) return hit ?? null;
    const near = this.regions
      .map((region) => [distance(region.outlines, [x, y]), region])
      .filter(([far]) => far <= reach)
      .sort((a, b) => a[0] - b[0]);
    return near.length ? near[0][1] : null;
  }

  paint(ctx, live) {
    const { view, layer } = this;
    layer.width = view.canvas.width;
    layer.height = view.canvas.height;
    const over = layer.getContext("2d");
    const k = view.density;
    const [left, top] = view.toScreen([-0.5, -0.5]);
    const matrix = new DOMMatrix([view.zoom * k, 0, 0, view.zoom * k, left * k, top * k]);
    const outlines = {};
    for (const { id } of this.finishes) {
      const path = new Path2D();
      for (const [region, fate] of this.fates) if (fate === id) path.addPath(region.path, matrix);
      over.fillStyle = this.styles[id];
      over.fill(path, "evenodd");
      outlines[id] = path;
    }
    // from afar outlines would paint over what they enclose
    const near = Math.min(1, Math.max(0.25, (this.usualReach * view.zoom) / 8));
    over.globalAlpha = near;
    for (const { id, rgb } of this.finishes) {
      over.strokeStyle = `rgb(${rgb})`;
      over.lineWidth = 1.6 * near * k;
      over.stroke(outlines[id]);
    }
    over.globalAlpha = 1;
    for (const item of live ? [...this.items, live] : this.items) this.stroke(over, item, k);
    const from = Math.round(this.bare * layer.width);
    ctx.save();
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    if (from < layer.width)
      ctx.drawImage(layer, from, 0, layer.width - from, layer.height, from, 0, layer.width - from, layer.height);
    ctx.restore();
    if (from > 0 && from < layer.width) {
      const edge = new Path2D();
      edge.moveTo(from / k, 0);
      edge.lineTo(from / k, layer.height / k);
      haloed(ctx, edge, "#000", "#fff", 1.5);
    }
    this.marks(ctx, matrix);
  }

  // a later stroke or polygon takes the place of what is below it
  stroke(over, item, k) {
    const isFilled = item.kind === "fill_in" || item.kind === "fill_out";
    const places = isFilled ? item.corners_px : item.path_px;
    if (!places) return;
    const path = new Path2D();
    places.forEach((at, i) => {
      const [x, y] = this.view.toScreen(at);
      i ? path.lineTo(x * k, y * k) : path.moveTo(x * k, y * k);
      if (places.length === 1) path.lineTo(x * k, y * k + 0.01);
    });
    over.save();
    over.lineCap = over.lineJoin = "round";
    over.lineWidth = isFilled ? 0 : 2 * item.radius_px * this.view.zoom * k;
    const lay = () => (isFilled ? over.fill(path, "evenodd") : over.stroke(path));
    over.globalCompositeOperation = "destination-out";
    lay();
    if (item.finish) {
      over.globalCompositeOperation = "source-over";
      over.strokeStyle = over.fillStyle = this.styles[item.finish];
      lay();
    }
    over.restore();
  }

  marks(ctx, matrix) {
    const screen = new DOMMatrix([1 / this.view.density, 0, 0, 1 / this.view.density, 0, 0]).multiply(matrix);
    const gone = new Path2D();
    const chosen = new Path2D();
    for (const [region, fate] of this.fates) {
      const isChosen = this.group.includes(region);
      if (isChosen) chosen.addPath(region.path, screen);
      else if (fate === null) gone.addPath(region.path, screen);
    }
    if (this.bare < 1) haloed(ctx, gone, "#000", "#fff", 1, [3, 4]);
    if (!this.selected) return;
    if (this.group.length === 1 && this.selected.reach_px * this.view.zoom < 8)
      chosen.arc(...this.view.toScreen(this.selected.at_px), 14, 0, 7);
    haloed(ctx, chosen, "#000", "#fff", this.group.length > 1 ? 1.5 : 3, [6, 4]);
  }
}

function outline(rings) {
  const path = new Path2D();
  for (const ring of rings) {
    for (let i = 0; i < ring.length; i += 2) path[i ? "lineTo" : "moveTo"](ring[i] + 0.5, ring[i + 1] + 0.5);
    path.closePath();
  }
  return path;
}

function distance(rings, [x, y]) {
  let least = Infinity;
  for (const ring of rings)
    for (let i = 0; i < ring.length; i += 2) least = Math.min(least, Math.hypot(ring[i] - x, ring[i + 1] - y));
  return least;
}
