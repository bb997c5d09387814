"use strict";
// How the viewer draws: line styles, the photo in several sizes, outlines in layers.
const grainDraw = (() => {
  // Line styles differ in dashes and width as well as in colour, so that they can be told apart in grey.
  const STYLES = {
    off: { word: "not on the paper, left out", colour: "#8a3b00", width: 2.2, dash: [9, 5] },
    cut: { word: "cut by the frame, left out", colour: "#c24a00", width: 1.6, dash: [6, 4] },
    below: { word: "measured, smaller than is seen reliably", colour: "#00705c", width: 1.3, dash: [1.5, 2.5] },
    in: { word: "measured", colour: "#005fc4", width: 1.5, dash: [] },
    out: { word: "left out by you", colour: "#b0006e", width: 2, dash: [2, 3] },
    ref: { word: "gave the scale", colour: "#6a1fb0", width: 3, dash: [] },
  };
  // Points drawn in one frame while a layer is made: some 6 ms on a slow machine without a graphics card.
  const POINTS_A_FRAME = 9000;

  const element = (tag, className, text) => {
    const made = document.createElement(tag);
    if (className) made.className = className;
    if (text !== undefined) made.textContent = text;
    return made;
  };

  const rounded = (um) => (um < 100 ? um.toFixed(1) : Math.round(um).toString());
  const size = (p) => `${rounded(p.size_um)} µm${p.feret_um ? `, widest ${rounded(p.feret_um)} µm` : ""} · `;
  const words = (p) => (p.size_um ? size(p) : "") + STYLES[p.state].word;

  // Left, top, right, bottom of every outline.
  function boxes(particles) {
    const all = new Float32Array(4 * particles.length);
    particles.forEach((p, i) => {
      let [left, top, right, bottom] = [Infinity, Infinity, -Infinity, -Infinity];
      for (let k = 0; k < p.outline.length; k += 2) {
        left = Math.min(left, p.outline[k]);
        right = Math.max(right, p.outline[k]);
        top = Math.min(top, p.outline[k + 1]);
        bottom = Math.max(bottom, p.outline[k + 1]);
      }
      all.set(p.outline.length ? [left, top, right, bottom] : [p.x, p.y, p.x, p.y], 4 * i);
    });
    return all;
  }

  function isInside(outline, x, y) {
    let inside = false;
    for (let i = 0, j = outline.length - 2; i < outline.length; j = i, i += 2) {
      const [ax, ay, bx, by] = [outline[i], outline[i + 1], outline[j], outline[j + 1]];
      if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
    }
    return inside;
  }

  // The picture and copies of a half, a quarter … of its size: drawing from the fitting one takes as long as the screen is
  // large, not as long as the photo is.
  async function pyramid(image) {
    const picture = typeof image === "string" ? new Image() : image;
    if (typeof image === "string") picture.src = image;
    await picture.decode();
    let last = picture;
    let [w, h] = [picture.naturalWidth, picture.naturalHeight];
    const levels = [{ source: await createImageBitmap(picture), width: w }];
    while (Math.max(w, h) > 500) {
      [w, h] = [Math.ceil(w / 2), Math.ceil(h / 2)];
      const canvas = element("canvas");
      [canvas.width, canvas.height] = [w, h];
      const context = canvas.getContext("2d");
      context.imageSmoothingQuality = "medium";
      context.drawImage(last, 0, 0, w, h);
      levels.push({ source: canvas, width: w });
      last = canvas;
    }
    return levels;
  }

  // What follows draws a scene: {particles, box, width, height} of the photo, view: {x, y, zoom}, its upper left corner in px
  // of the photo and screen px per px, and screen: {wide, high, dots}, dots being device pixels per screen px.

  // A layer holds the outlines of what is in view and of a margin round it; it is made over several frames, while the one
  // before it is still shown.
  function newLayer({ particles, box, width, height, view, screen: { wide, high, dots } }) {
    const { zoom } = view;
    const [mx, my] = [(0.25 * wide) / zoom, (0.25 * high) / zoom];
    const [x, y] = [Math.max(view.x - mx, -2), Math.max(view.y - my, -2)];
    const right = Math.min(view.x + wide / zoom + mx, width + 2);
    const bottom = Math.min(view.y + high / zoom + my, height + 2);
    const order = Object.keys(STYLES);
    const of = order.map(() => []);
    particles.forEach((p, i) => {
      const b = 4 * i;
      if (box[b] < right && box[b + 2] > x && box[b + 1] < bottom && box[b + 3] > y) of[order.indexOf(p.state)].push(i);
    });
    const canvas = element("canvas");
    canvas.width = Math.max(1, Math.ceil((right - x) * zoom * dots));
    canvas.height = Math.max(1, Math.ceil((bottom - y) * zoom * dots));
    return { x, y, right, bottom, zoom, dots, canvas, todo: of.flat(), next: 0, isOld: false };
  }

  // True when a layer has what the view shows, as large as the view shows it.
  function isFresh(layer, { width, height, view, screen: { wide, high, dots } }) {
    if (!layer || layer.isOld || layer.zoom !== view.zoom || layer.dots !== dots) return false;
    const [right, bottom] = [view.x + wide / view.zoom, view.y + high / view.zoom];
    return (
      layer.x <= Math.max(view.x, 0) && layer.y <= Math.max(view.y, 0)
      && layer.right >= Math.min(right, width) && layer.bottom >= Math.min(bottom, height)
    );
  }

  // Draws as many outlines of the layer as one frame has time for; true once it is whole.
  function extend(layer, { particles, box }) {
    const { todo } = layer;
    const context = layer.canvas.getContext("2d");
    context.setTransform(layer.dots, 0, 0, layer.dots, 0, 0);
    let points = 0;
    while (layer.next < todo.length && points < POINTS_A_FRAME) {
      const { state } = particles[todo[layer.next]];
      const path = new Path2D();
      while (layer.next < todo.length && points < POINTS_A_FRAME && particles[todo[layer.next]].state === state) {
        points += trace(path, particles[todo[layer.next]], box, todo[layer.next], layer);
        layer.next += 1;
      }
      stroke(context, path, STYLES[state], layer.zoom, 1);
    }
    return layer.next >= todo.length;
  }

  function stroke(context, path, style, zoom, grow) {
    context.setLineDash(style.dash);
    // Far away a full line would hide small particles.
    context.lineWidth = style.width * grow * Math.min(1, Math.max(0.4, Math.sqrt(zoom)));
    context.strokeStyle = style.colour;
    context.stroke(path);
    context.setLineDash([]);
  }

  // Adds an outline to a path, without the points that fall on the same pixel, and gives the number of points.
  function trace(path, particle, box, i, { x: left, y: top, zoom }) {
    const b = 4 * i;
    const [w, h] = [(box[b + 2] - box[b]) * zoom, (box[b + 3] - box[b + 1]) * zoom];
    const [x0, y0] = [(box[b] - left) * zoom, (box[b + 1] - top) * zoom];
    if (Math.max(w, h) < 3) {
      const r = Math.max(0.8, 0.5 * Math.max(w, h) + 0.3);
      path.rect(x0 + w / 2 - r, y0 + h / 2 - r, 2 * r, 2 * r);
      return 4;
    }
    const { outline } = particle;
    const least = Math.max(w, h) < 12 ? 1 : 2;
    let [count, lastX, lastY] = [0, NaN, NaN];
    for (let k = 0; k < outline.length; k += 2) {
      const [x, y] = [(outline[k] - left) * zoom, (outline[k + 1] - top) * zoom];
      if (count && Math.abs(x - lastX) + Math.abs(y - lastY) < least) continue;
      if (count) path.lineTo(x, y);
      else path.moveTo(x, y);
      [lastX, lastY, count] = [x, y, count + 1];
    }
    path.closePath();
    if (particle.state === "out") {
      path.moveTo(x0, y0);
      path.lineTo(x0 + w, y0 + h);
      path.moveTo(x0 + w, y0);
      path.lineTo(x0, y0 + h);
    }
    return count;
  }

  function photo(context, levels, { width, height, view, screen: { wide, high, dots } }) {
    const level = levels.findLast((l) => l.width / width >= view.zoom * dots) || levels[0];
    const by = level.width / width;
    const [left, top] = [Math.max(view.x, 0), Math.max(view.y, 0)];
    const w = Math.min(view.x + wide / view.zoom, width) - left;
    const h = Math.min(view.y + high / view.zoom, height) - top;
    const [x, y] = [(left - view.x) * view.zoom, (top - view.y) * view.zoom];
    // Closer up the pixels themselves are worth seeing.
    context.imageSmoothingEnabled = view.zoom < 8;
    context.drawImage(level.source, left * by, top * by, w * by, h * by, x, y, w * view.zoom, h * view.zoom);
    context.imageSmoothingEnabled = true;
  }

  // A line through places of the screen, white beneath so that it shows on dark ground.
  function line(context, places, colour) {
    for (const [width, paint] of [[5, "#fff"], [2, colour]]) {
      context.lineWidth = width;
      context.strokeStyle = paint;
      context.beginPath();
      places.forEach(([x, y], i) => (i ? context.lineTo(x, y) : context.moveTo(x, y)));
      context.stroke();
    }
  }

  function cross(context, [x, y], reach, colour) {
    line(context, [[x - reach, y], [x + reach, y]], colour);
    line(context, [[x, y - reach], [x, y + reach]], colour);
  }

  function scaleBar(context, umPerPx, { view, screen: { wide, high } }) {
    const room = (0.25 * wide * umPerPx) / view.zoom;
    const decade = 10 ** Math.floor(Math.log10(room));
    const um = [5, 2, 1].map((s) => s * decade).find((s) => s <= room) || decade;
    const long = (um / umPerPx) * view.zoom;
    const text = um >= 1000 ? `${um / 1000} mm` : `${um} µm`;
    context.font = "600 13px system-ui, sans-serif";
    const w = Math.max(long, context.measureText(text).width) + 16;
    context.fillStyle = "#ffffffe0";
    context.fillRect(8, high - 40, w, 32);
    context.fillStyle = "#1a1a1a";
    context.fillText(text, 16, high - 23);
    context.fillRect(16, high - 17, long, 3);
  }

  // The smallest outline round a place of the photo, or the nearest one within reach (px of the photo); -1 for none.
  function hit({ particles, box }, [x, y], reach) {
    let [best, least] = [-1, Infinity];
    for (let i = 0; i < particles.length; i += 1) {
      const b = 4 * i;
      if (x < box[b] - reach || x > box[b + 2] + reach || y < box[b + 1] - reach || y > box[b + 3] + reach) continue;
      const area = (box[b + 2] - box[b]) * (box[b + 3] - box[b + 1]);
      const off = Math.hypot((box[b] + box[b + 2]) / 2 - x, (box[b + 1] + box[b + 3]) / 2 - y);
      // Inside beats near; of several outlines round the place the smallest lies on top.
      const rank = isInside(particles[i].outline, x, y) ? area : 1e12 + off;
      if (rank < least) [best, least] = [i, rank];
    }
    return best;
  }

  // The key to the outlines: how many there are of each kind.
  function keyItems(particles) {
    const counts = {};
    for (const p of particles) counts[p.state] = (counts[p.state] || 0) + 1;
    const shown = ["in", "below", "out", "cut", "off", "ref"].filter((state) => counts[state]);
    return shown.map((state) => {
      const item = element("li");
      // Marks and the sheet's field are no count of anything.
      const count = state === "ref" ? "" : `${counts[state]} `;
      item.append(element("span", `grain-line grain-${state}`), `${count}${STYLES[state].word}`);
      return item;
    });
  }

  function keysText(onPlace, onPick) {
    const moves = "Keys: arrows move, + and - zoom, 0 shows the whole photo";
    if (onPlace) return `${moves}, Enter takes the place under the cross.`;
    return `${moves}, n and p step from the largest particle down and up${onPick ? ", Enter leaves it out or brings it back" : ""}.`;
  }

  return { STYLES, element, words, boxes, pyramid, newLayer, isFresh, extend, stroke, trace, photo, line, cross, scaleBar, hit, keyItems, keysText };
})();
