// One photo, seen closely: outlines to leave out and bring back, or two places of known distance to click on.
/* global grainView */
import { find, h, number, toast } from "./dom.js";
import { ask, latest, tell } from "./net.js";

export function lookView(stateOf) {
  const dialog = find("look");
  const [title, line, box, tools, below] = ["look-title", "look-line", "look-view", "look-tools", "look-after-view"].map(find);
  let [trayId, photoId, shown, viewer, ends] = [0, 0, null, null, []];

  const trayOf = () => stateOf()?.trays.find((t) => t.id === trayId);
  const photoOf = () => trayOf()?.photos.find((p) => p.id === photoId);

  const loadLine = latest(async () => {
    const tray = trayOf();
    if (!tray) return;
    const result = await ask(`/api/trays/${trayId}/result`);
    const photo = photoOf();
    const [, d50, , , share] = result.rows || [];
    const back = h("button", { type: "button", onclick: () => tell(`/api/photos/${photoId}`, { bring_back: true }).then(reload) }, "Bring all back");
    line.replaceChildren(
      d50 ? h("span", {}, h("strong", {}, `D50 ${d50.value} µm`), ` (${d50.interval}), ${share.name}: `, h("strong", {}, `${share.value} %`), `. `) : h("span", {}, result.error || ""),
      photo?.left_out ? h("span", { class: "left-out" }, `${photo.left_out} left out by you here. `, back) : "",
    );
  });

  function reload() {
    shown = null;
    show();
  }

  async function show() {
    const photo = photoOf();
    if (!photo) {
      dialog.close();
      return;
    }
    const tray = trayOf();
    const scale = tray.scale || stateOf().scale;
    const places = photo.status === "places" || (scale.from === "places" && dialog.dataset.mode === "places");
    const key = places ? `places ${photoId}` : `${photoId} ${photo.status} ${photo.serial}`;
    title.textContent = `${photo.name} · ${tray.name}`;
    for (const [id, end] of [["look-before", 0], ["look-after", -1]]) {
      find(id).hidden = tray.photos.length < 2;
      find(id).disabled = tray.photos.at(end).id === photoId;
    }
    if (key === shown) return;
    shown = key;
    viewer = null;
    box.replaceChildren();
    tools.replaceChildren();
    below.replaceChildren();
    line.replaceChildren();
    try {
      if (places) await showPlaces(photo);
      else if (photo.status === "measured") await showOutlines(photo, scale);
      else box.replaceChildren(h("p", { class: "empty" }, photo.why || "This photo is not measured yet; it opens here as soon as it is."));
    } catch (error) {
      box.replaceChildren(h("p", { class: "why" }, error.message));
    }
  }

  async function showOutlines(photo, scale) {
    const told = await ask(`/api/photos/${photo.id}/outlines`);
    if (photoId !== photo.id || !dialog.open) return;
    const view = h("div");
    box.replaceChildren(view);
    const was = new Map(told.particles.filter((p) => p.state === "out").map((p) => [p.id, "in"]));
    viewer = grainView(view, {
      image: `/api/photos/${photo.id}/picture`,
      width: told.width,
      height: told.height,
      umPerPx: told.um_per_px,
      particles: told.particles,
      label: `Photo ${photo.name} with ${photo.particles} outlined particles`,
      onPick: async (particle) => {
        const out = particle.state !== "out";
        const before = particle.state;
        if (out) was.set(particle.id, before);
        viewer.update({ id: particle.id, state: out ? "out" : was.get(particle.id) || "in" });
        const done = await tell(`/api/photos/${photo.id}/particle`, { id: particle.id, serial: told.serial, out });
        if (!done) viewer?.update({ id: particle.id, state: before });
      },
    });
    below.replaceChildren(
      h("p", { class: "hint" }, "Click a particle to leave it out: a hair, a husk, a crumb of chaff. Click it again to bring it back. The answer follows at once, and your choice is written into the results."),
      scale.from === "places" ? h("button", { type: "button", onclick: () => { dialog.dataset.mode = "places"; reload(); } }, "Set the two places anew") : "",
    );
    loadLine();
  }

  async function showPlaces(photo) {
    const image = new Image();
    image.src = `/api/photos/${photo.id}/picture`;
    await image.decode();
    if (photoId !== photo.id || !dialog.open) return;
    ends = photo.places?.ends || [];
    const view = h("div");
    box.replaceChildren(view);
    const said = h("p", { class: "step", role: "status" });
    const length = h("input", { type: "text", inputMode: "decimal", size: 8, value: photo.places?.mm ?? lastLength, autocomplete: "off" });
    const use = h("button", { type: "button", class: "main" }, "Measure with this length");
    const tellStep = () => {
      said.textContent = ["Click on one end of a length that you know: a ruler's line, an edge of the paper. Zoom in first; it makes the click exact.", "Now click on its other end.", "Type how long that is. A click on the photo begins again."][ends.length];
      use.disabled = ends.length < 2;
      viewer.marks(ends);
    };
    viewer = grainView(view, {
      image,
      width: image.naturalWidth,
      height: image.naturalHeight,
      label: `Photo ${photo.name}: choose two places of known distance`,
      onPlace: (at) => {
        ends = ends.length >= 2 ? [at] : [...ends, at];
        tellStep();
      },
    });
    use.addEventListener("click", async () => {
      const mm = number(length.value);
      if (mm === null) {
        toast("Type the length in mm, such as 50.");
        return;
      }
      const done = await tell(`/api/photos/${photo.id}`, { places: { ends: ends.map((p) => p.map((v) => Math.round(v * 100) / 100)), mm } });
      if (!done) return;
      lastLength = mm;
      delete dialog.dataset.mode;
      const next = trayOf()?.photos.find((p) => p.status === "places" && p.id !== photo.id);
      if (next) open(trayId, next.id);
      else show();
    });
    tools.replaceChildren(said, h("div", { class: "row" }, h("label", { class: "field" }, h("span", {}, "Length between the two places (mm)"), length), use));
    tellStep();
  }

  let lastLength = "";

  function open(tray, photo) {
    [trayId, photoId, shown] = [tray, photo, null];
    delete dialog.dataset.mode;
    if (!dialog.open) dialog.showModal();
    show();
  }

  function go(by) {
    const photos = trayOf()?.photos || [];
    const next = photos[photos.findIndex((p) => p.id === photoId) + by];
    if (next) open(trayId, next.id);
  }

  find("look-before").addEventListener("click", () => go(-1));
  find("look-after").addEventListener("click", () => go(1));
  dialog.addEventListener("close", () => {
    box.replaceChildren();
    [shown, viewer] = [null, null];
  });

  return {
    open,
    update() {
      if (!dialog.open) return;
      show();
      if (photoOf()?.status === "measured") loadLine();
    },
  };
}
