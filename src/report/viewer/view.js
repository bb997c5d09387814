"use strict";
// One photo with the outlines of its particles, to look at closely. Needs nothing else and changes nothing outside of its
// container.
//
// grainView(container, {
//   image,               an HTMLImageElement or the address of a picture
//   width, height,       of the upright photo in px; the picture may be a smaller copy
//   umPerPx,             for the scale bar
//   particles,           [{id, size_um, feret_um, x, y, outline: [x0, y0, x1, y1, …] in px, state}]; sizes where known
//   label,               what is shown, for those who do not see it
//   onPick(particle),    called by a click, a second tap or Enter; without it nothing can be picked
//   pickWords,           optional function(particle): what picking does, for the button
//   onPlace([x, y]),     where places are wanted instead of particles: called with px of the photo
// }) gives {update(particle), redraw(), select(id), marks([[x, y], …])}
//
// States: "in" measured; "below" measured, smaller than the photo shows reliably; "cut" by the frame; "off" no particle on
// the paper; "out" left out by hand; "ref" gave the scale.
function grainView(container, options) {
  const MOST_ZOOM = 32;
  // While the view moves, outlines drawn before are shifted and stretched; they are drawn anew once it rests so long, ms.
  const REST = 70;
  const { STYLES, element, words, trace, stroke } = grainDraw;
  const { width, height, umPerPx, onPick, onPlace } = options;
  const particles = options.particles || [];
  const box = grainDraw.boxes(particles);
  const place = new Map(particles.map((p, i) => [p.id, i]));
  // From the largest down: what weighs most is looked at first.
  const bySize = particles.map((_, i) => i).filter((i) => particles[i].size_um);
  bySize.sort((a, b) => particles[b].size_um - particles[a].size_um);
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const view = { x: 0, y: 0, zoom: 1 };
  const screen = { wide: 1, high: 1, dots: 1 };
  const scene = { particles, box, width, height, view, screen };
  let [levels, layer, coming] = [null, null, null];
  let [hovered, selected, marks, asked, fitted, zoomed] = [-1, -1, [], 0, true, 0];

  container.classList.add("grain-view");
  const stage = element("div", "grain-stage");
  const canvas = element("canvas", "grain-canvas");
  canvas.tabIndex = 0;
  canvas.setAttribute("role", "application");
  canvas.setAttribute("aria-label", options.label || "Photo with the outlines of its particles");
  const hint = element("p", "grain-keys", grainDraw.keysText(onPlace, onPick));
  hint.id = `grain-keys-${Math.random().toString(36).slice(2)}`;
  canvas.setAttribute("aria-describedby", hint.id);
  const label = element("div", "grain-label");
  label.hidden = true;
  label.setAttribute("aria-hidden", "true");
  const spoken = element("p", "grain-spoken");
  spoken.setAttribute("role", "status");
  const bar = element("div", "grain-bar");
  const button = (text, name, act) => {
    const made = element("button", "grain-button", text);
    made.type = "button";
    made.title = name;
    made.setAttribute("aria-label", name);
    made.addEventListener("click", act);
    bar.append(made);
    return made;
  };
  const middle = () => [screen.wide / 2, screen.high / 2];
  button("+", "Zoom in", () => zoomAt(middle(), 1.6));
  button("−", "Zoom out", () => zoomAt(middle(), 1 / 1.6));
  button("Whole photo", "Show the whole photo", fit);
  if (bySize.length) {
    button("‹", "Next larger particle", () => step(-1));
    button("›", "Next smaller particle", () => step(1));
  }
  const pick = onPick && button("Leave out", "Leave the chosen particle out", () => pickAt(selected));
  const key = element("ul", "grain-key");
  stage.append(canvas, label);
  container.replaceChildren(stage, bar, key, spoken, hint);
  const context = canvas.getContext("2d");

  const toPhoto = ([x, y]) => [view.x + x / view.zoom, view.y + y / view.zoom];
  const toScreen = ([x, y]) => [(x - view.x) * view.zoom, (y - view.y) * view.zoom];
  const leastZoom = () => Math.min(screen.wide / width, screen.high / height, MOST_ZOOM);

  // Keeps the view on the photo, and asks for a frame.
  function hold() {
    view.zoom = Math.min(Math.max(view.zoom, leastZoom()), MOST_ZOOM);
    fitted = view.zoom <= leastZoom() * 1.001;
    const within = (at, shown, whole) => (shown >= whole ? (whole - shown) / 2 : Math.min(Math.max(at, 0), whole - shown));
    view.x = within(view.x, screen.wide / view.zoom, width);
    view.y = within(view.y, screen.high / view.zoom, height);
    // With the whole photo in view a finger scrolls the page; closer up it moves the photo.
    canvas.style.touchAction = fitted ? "pan-y" : "none";
    wish();
  }

  function fit() {
    view.zoom = leastZoom();
    zoomed = performance.now();
    hold();
  }

  function zoomAt([x, y], factor) {
    const [px, py] = toPhoto([x, y]);
    view.zoom = Math.min(Math.max(view.zoom * factor, leastZoom()), MOST_ZOOM);
    [view.x, view.y] = [px - x / view.zoom, py - y / view.zoom];
    zoomed = performance.now();
    hold();
  }

  function wish() {
    if (!asked) asked = requestAnimationFrame(frame);
  }

  function frame() {
    asked = 0;
    context.setTransform(screen.dots, 0, 0, screen.dots, 0, 0);
    context.clearRect(0, 0, screen.wide, screen.high);
    if (levels) grainDraw.photo(context, levels, scene);
    if (particles.length) drawOutlines();
    drawChosen();
    drawMarks();
    if (umPerPx) grainDraw.scaleBar(context, umPerPx, scene);
  }

  function drawOutlines() {
    if (!grainDraw.isFresh(layer, scene)) {
      const rests = performance.now() - zoomed > REST;
      if (!grainDraw.isFresh(coming, scene)) coming = !layer || rests ? grainDraw.newLayer(scene) : null;
      if (coming && grainDraw.extend(coming, scene)) [layer, coming] = [coming, null];
      wish();
    }
    const shown = layer || coming;
    if (!shown) return;
    const [x, y] = toScreen([shown.x, shown.y]);
    const by = view.zoom / shown.zoom / shown.dots;
    context.drawImage(shown.canvas, x, y, shown.canvas.width * by, shown.canvas.height * by);
  }

  function drawChosen() {
    for (const [i, grow] of [[hovered, 1.8], [selected, 2.4]]) {
      if (i < 0) continue;
      const path = new Path2D();
      trace(path, particles[i], box, i, view);
      context.lineWidth = 5;
      context.strokeStyle = "#ffffffd0";
      context.stroke(path);
      stroke(context, path, STYLES[particles[i].state], view.zoom, grow);
    }
    const i = selected >= 0 ? selected : hovered;
    label.hidden = i < 0;
    if (i < 0) return;
    const text = words(particles[i]);
    if (label.textContent !== text) label.textContent = text;
    const [left, top] = toScreen([box[4 * i], box[4 * i + 1]]);
    const [right, bottom] = toScreen([box[4 * i + 2], box[4 * i + 3]]);
    const [w, h] = [label.offsetWidth, label.offsetHeight];
    const x = Math.min(Math.max((left + right - w) / 2, 4), Math.max(4, screen.wide - w - 4));
    const y = top > h + 10 ? top - h - 6 : Math.min(bottom + 6, screen.high - h - 4);
    label.style.transform = `translate(${Math.round(x)}px, ${Math.round(y)}px)`;
  }

  function drawMarks() {
    const at = marks.map(toScreen);
    if (at.length > 1) grainDraw.line(context, at, STYLES.out.colour);
    at.forEach((to) => grainDraw.cross(context, to, 11, STYLES.out.colour));
    if (onPlace && canvas.matches(":focus-visible")) grainDraw.cross(context, middle(), 16, STYLES.in.colour);
  }

  const hit = (to, reach) => grainDraw.hit(scene, toPhoto(to), reach / view.zoom);
  const canPick = (i) => onPick && i >= 0 && ["in", "below", "out"].includes(particles[i].state);

  function choose(i, say) {
    selected = i;
    if (i >= 0 && say) {
      const at = bySize.indexOf(i) + 1;
      spoken.textContent = `${words(particles[i])}, ${at} of ${bySize.length} by size`;
    }
    sayPick();
    wish();
  }

  function sayPick() {
    if (!pick) return;
    pick.disabled = !canPick(selected);
    const isOut = selected >= 0 && particles[selected].state === "out";
    const does = options.pickWords && selected >= 0 ? options.pickWords(particles[selected]) : null;
    pick.textContent = does || (isOut ? "Bring back" : "Leave out");
    pick.setAttribute("aria-label", `${pick.textContent}: the chosen particle`);
  }

  function pickAt(i) {
    if (canPick(i)) onPick(particles[i]);
  }

  function step(by) {
    const from = bySize.indexOf(selected);
    const next = from < 0 ? (by > 0 ? 0 : bySize.length - 1) : (from + by + bySize.length) % bySize.length;
    show(bySize[next]);
  }

  function show(i) {
    choose(i, true);
    const b = 4 * i;
    const large = Math.max(box[b + 2] - box[b], box[b + 3] - box[b + 1], 1);
    const { wide, high } = screen;
    // Close enough to see the shape, and no farther than one was.
    const zoom = Math.min(Math.max(view.zoom, (0.12 * Math.min(wide, high)) / large), MOST_ZOOM / 2);
    const to = { x: particles[i].x - wide / zoom / 2, y: particles[i].y - high / zoom / 2, zoom };
    if (calm.matches) {
      Object.assign(view, to);
      return hold();
    }
    const [from, began] = [{ ...view }, performance.now()];
    const move = (now) => {
      if (selected !== i) return;
      const t = Math.min((now - began) / 220, 1);
      const eased = t * (2 - t);
      view.zoom = from.zoom * (to.zoom / from.zoom) ** eased;
      const centre = (a, b, side) => (a + side / from.zoom / 2) * (1 - eased) + (b + side / to.zoom / 2) * eased;
      view.x = centre(from.x, to.x, wide) - wide / view.zoom / 2;
      view.y = centre(from.y, to.y, high) - high / view.zoom / 2;
      zoomed = now;
      hold();
      if (t < 1) requestAnimationFrame(move);
    };
    requestAnimationFrame(move);
  }

  const where = (event) => {
    const frame = canvas.getBoundingClientRect();
    return [event.clientX - frame.left, event.clientY - frame.top];
  };
  function hover(to) {
    const over = hit(to, 3);
    if (over === hovered) return;
    hovered = over;
    if (over >= 0 && selected >= 0) choose(-1, false);
    canvas.classList.toggle("grain-over", canPick(over));
    wish();
  }

  const down = new Map();
  let [dragged, armed] = [false, false];

  canvas.addEventListener("pointerdown", (event) => {
    if (event.button > 0) return;
    canvas.setPointerCapture(event.pointerId);
    if (!down.size) dragged = false;
    down.set(event.pointerId, { start: where(event), last: where(event) });
  });
  canvas.addEventListener("pointermove", (event) => {
    const to = where(event);
    const own = down.get(event.pointerId);
    if (!own) {
      if (event.movementX || event.movementY) armed = true;
      if (event.pointerType === "touch" || onPlace) return;
      hover(to);
      return;
    }
    const from = own.last;
    if (Math.hypot(to[0] - own.start[0], to[1] - own.start[1]) > 5) dragged = true;
    const other = [...down].find(([id]) => id !== event.pointerId)?.[1];
    own.last = to;
    if (other) {
      dragged = true;
      const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]) || 1;
      view.x -= (to[0] - from[0]) / 2 / view.zoom;
      view.y -= (to[1] - from[1]) / 2 / view.zoom;
      const centre = [(to[0] + other.last[0]) / 2, (to[1] + other.last[1]) / 2];
      zoomAt(centre, apart(to, other.last) / apart(from, other.last));
    } else if (dragged) {
      view.x -= (to[0] - from[0]) / view.zoom;
      view.y -= (to[1] - from[1]) / view.zoom;
      hold();
    }
  });
  const up = (event) => {
    if (!down.delete(event.pointerId) || dragged || event.type !== "pointerup") return;
    const to = where(event);
    if (onPlace) {
      const [x, y] = toPhoto(to);
      if (x >= 0 && y >= 0 && x <= width && y <= height) onPlace([x, y]);
      return;
    }
    const touch = event.pointerType === "touch";
    const found = hit(to, touch ? 14 : 3);
    const again = found >= 0 && found === selected;
    hovered = -1;
    choose(found, true);
    if (!touch || again) pickAt(found);
  };
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", up);
  canvas.addEventListener("pointerleave", () => {
    armed = false;
    if (hovered < 0) return;
    hovered = -1;
    wish();
  });
  // A page that is scrolled past the photo must not be caught by it: the wheel zooms once the pointer moved here.
  addEventListener("scroll", () => { armed = false; }, { passive: true, capture: true });
  canvas.addEventListener("wheel", (event) => {
    if (!armed && !event.ctrlKey && document.activeElement !== canvas) return;
    if (event.deltaY > 0 && fitted && !event.ctrlKey) return;
    event.preventDefault();
    const unit = event.deltaMode === 1 ? 18 : 1;
    zoomAt(where(event), Math.exp(-event.deltaY * unit * (event.ctrlKey ? 0.01 : 0.0016)));
    if (!onPlace) hover(where(event));
  }, { passive: false });

  canvas.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const pan = (dx, dy) => {
      view.x += (dx * 0.15 * screen.wide) / view.zoom;
      view.y += (dy * 0.15 * screen.high) / view.zoom;
      hold();
    };
    const acts = {
      ArrowLeft: () => pan(-1, 0),
      ArrowRight: () => pan(1, 0),
      ArrowUp: () => pan(0, -1),
      ArrowDown: () => pan(0, 1),
      "+": () => zoomAt(middle(), 1.4),
      "=": () => zoomAt(middle(), 1.4),
      "-": () => zoomAt(middle(), 1 / 1.4),
      0: fit,
      n: () => bySize.length && step(1),
      p: () => bySize.length && step(-1),
      Enter: () => (onPlace ? onPlace(toPhoto(middle())) : pickAt(selected)),
      // With nothing chosen the key is left to what the photo is shown in.
      Escape: selected >= 0 && (() => choose(-1, false)),
    };
    const act = acts[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });
  ["focus", "blur"].forEach((type) => canvas.addEventListener(type, wish));

  function tellKey() {
    key.replaceChildren(...grainDraw.keyItems(particles));
    key.hidden = !key.childElementCount;
  }

  function redraw() {
    [layer, coming] = [null, null];
    tellKey();
    sayPick();
    wish();
  }

  function resize() {
    const was = fitted;
    const centre = toPhoto(middle());
    screen.wide = stage.clientWidth || 1;
    screen.high = stage.clientHeight || 1;
    screen.dots = Math.min(devicePixelRatio || 1, 2);
    [canvas.width, canvas.height] = [Math.round(screen.wide * screen.dots), Math.round(screen.high * screen.dots)];
    if (was) view.zoom = leastZoom();
    else [view.x, view.y] = [centre[0] - screen.wide / view.zoom / 2, centre[1] - screen.high / view.zoom / 2];
    [layer, coming] = [null, null];
    hold();
  }

  stage.style.aspectRatio = `${width} / ${height}`;
  new ResizeObserver(resize).observe(stage);
  tellKey();
  sayPick();
  resize();
  grainDraw.pyramid(options.image).then(
    (made) => {
      levels = made;
      container.dataset.shown = "yes";
      wish();
    },
    () => {
      spoken.textContent = "The photo cannot be shown here; its outlines can.";
      spoken.classList.add("grain-wrong");
    },
  );

  return {
    update(particle) {
      const i = place.get(particle.id);
      if (i === undefined) return;
      Object.assign(particles[i], particle);
      if (i === selected) spoken.textContent = words(particles[i]);
      // The old layer stays until the new one is whole, so that nothing flickers.
      if (layer) layer.isOld = true;
      coming = null;
      tellKey();
      sayPick();
      wish();
    },
    redraw,
    select(id) {
      const i = place.get(id);
      if (i !== undefined) show(i);
    },
    marks(points) {
      marks = points;
      wish();
    },
  };
}
