// One sample: its answer first, then its photos, then what can be set.
import { h, toast } from "./dom.js";
import { latest, ask, sendingLine, tell } from "./net.js";
import { answerView, curve } from "./result.js";
import { scaleForm, scaleName } from "./scale.js";
import { sievePart } from "./sieve.js";

const KINDS = "image/*,.heic,.heif,.tif,.tiff";
const WORDS = {
  waiting: "waiting …",
  measuring: "measuring …",
  places: "click two places",
  failed: "not measured",
};

// A part of the page that can be opened.
function part(title, name, ...content) {
  const value = h("span", { class: "set" }, "");
  const box = h("details", { class: `part ${name}` }, h("summary", {}, h("span", {}, title), " ", value), ...content);
  return { box, value };
}

export class TrayView {
  constructor(tray, acts) {
    this.id = tray.id;
    this.acts = acts;
    this.seen = {};
    // A field of several lines, so that a long name is seen whole on a phone.
    this.name = h("textarea", {
      class: "name",
      value: tray.name,
      rows: 1,
      maxLength: 80,
      "aria-label": "Name of the sample",
      onchange: () => tell(`/api/trays/${this.id}`, { name: this.name.value.replace(/\s+/g, " ") }),
      onkeydown: (event) => {
        if (event.key !== "Enter") return;
        event.preventDefault();
        this.name.blur();
      },
      oninput: () => this.fitName(),
    });
    addEventListener("resize", () => this.fitName());
    this.progress = h("div", { class: "progress", role: "status" });
    const sending = h("div", { class: "sending" });
    this.line = sendingLine(sending);
    // Photos whose small picture was asked for.
    this.pictured = new Set();
    this.answer = h("div", { class: "answer" });
    this.photos = h("ul", { class: "photos" });
    this.bad = h("div", { class: "bad", role: "alert" });
    const take = (props, text) =>
      h("label", { class: "button" }, text, h("input", { type: "file", class: "hidden-input", ...props, onchange: (e) => this.take(e.target) }));
    this.scale = part("Scale", "scale");
    this.scaleBox = h("div");
    this.scale.box.append(this.scaleBox);
    this.sieve = sievePart(this.id);
    this.files = part("Downloads", "files", this.downloads());
    this.element = h(
      "article",
      { class: "tray", "data-tray": this.id, "aria-label": tray.name },
      h(
        "header",
        {},
        this.name,
        h("button", { type: "button", class: "quiet", title: "Take away the whole sample", onclick: () => this.remove() }, "Take away"),
      ),
      this.answer,
      sending,
      this.progress,
      this.bad,
      this.photos,
      h(
        "div",
        { class: "row" },
        take({ accept: KINDS, multiple: true, "aria-label": "Add photos to this sample" }, "Add photos"),
        h("span", { class: "hint" }, "or drop them here; three spreads of the same grounds are best"),
      ),
      this.scale.box,
      this.sieve.box,
      this.files.box,
    );
    this.load = latest(async (fines) => {
      const measured = this.tray.photos.some((p) => p.status === "measured");
      const result = !measured ? {} : await ask(`/api/trays/${this.id}/result?fines_um=${fines}`).catch((error) => {
        // Asked again with the next change, also where nothing else is new.
        delete this.seen.answer;
        throw error;
      });
      this.result = result.rows && { ...result, fines };
      this.plot = h("div");
      this.showCurve();
      answerView(this.answer, this.tray, result, this.plot);
      this.files.box.hidden = !result.rows;
      this.sieve.refresh(this.tray, Boolean(result.rows));
    });
  }

  fitName() {
    this.name.style.height = "auto";
    this.name.style.height = `${this.name.scrollHeight + 2}px`;
  }

  take(input) {
    this.acts.addPhotos(this.id, [...input.files]);
    input.value = "";
  }

  downloads() {
    const link = (file, text) => h("a", { href: `/api/trays/${this.id}/${file}`, download: "" }, text);
    return h(
      "ul",
      { class: "links" },
      h("li", {}, link("report.html", "Report (HTML)"), " one page to share, with the photos"),
      h("li", {}, link("measurement.json", "Results (JSON)"), " as the command line writes them"),
      h("li", {}, link("particles.csv", "Every particle (CSV)"), " one row each"),
      h("li", {}, link("curve.svg", "Curve (SVG)")),
    );
  }

  remove() {
    tell(`/api/trays/${this.id}`, { removed: true }).then((done) => {
      if (done) toast(`${this.tray.name} was taken away.`, "Bring it back", () => tell(`/api/trays/${this.id}`, { removed: false }));
    });
  }

  showCurve() {
    this.curveIsOld = false;
    if (this.result) this.plot.replaceChildren(curve(this.id, this.tray, this.result, this.result.fines, this.all));
  }

  // True when this is new since the last time.
  isNew(name, value) {
    const text = JSON.stringify(value);
    if (this.seen[name] === text) return false;
    this.seen[name] = text;
    return true;
  }

  update(tray, state) {
    this.tray = tray;
    if (document.activeElement !== this.name && this.isNew("name", tray.name)) {
      this.name.value = tray.name;
      // Its place on the page comes first: only there it has a width.
      requestAnimationFrame(() => this.fitName());
    }
    this.element.setAttribute("aria-label", tray.name);
    const scale = tray.scale || state.scale;
    const wants = tray.photos.some((p) => p.wants_scale);
    if (this.isNew("wants", wants) && wants) this.scale.box.open = true;
    if (this.isNew("scale", [tray.scale, state.scale]) && !this.scaleBox.contains(document.activeElement)) {
      this.scale.value.textContent = scaleName(scale) + (tray.scale ? "" : " (as set for all)");
      const act = (body) => (chosen) => tell(`/api/trays/${this.id}`, body(chosen));
      const own = ["Use for this sample", act((chosen) => ({ scale: chosen }))];
      const all = ["As set for all", act(() => ({ as_all: true }))];
      this.scaleBox.replaceChildren(scaleForm(scale, state.coins, tray.scale ? [own, all] : [own]));
    }
    // Without an answer the page says why there is none, which the photos tell.
    this.all = state.trays.filter((t) => t.photos.some((p) => p.status === "measured")).map((t) => t.answer).join(" ");
    if (this.isNew("all", this.all)) this.curveIsOld = true;
    const states = tray.photos.map((p) => p.status);
    if (this.isNew("answer", [tray.answer, tray.name, tray.weights, states])) this.answered = this.load(this.acts.fines());
    // An answer on its way is shown first, and nothing is drawn that it would have to wait for.
    if (this.isNew("photos", tray.photos)) Promise.resolve(this.answered).then(() => this.showPhotos(this.tray));
  }

  refresh(fines) {
    this.load(fines);
  }

  // Files that were not taken, with the reason.
  refused(failed) {
    this.bad.replaceChildren(failed.length ? h("ul", {}, failed.map((text) => h("li", {}, text))) : "");
  }

  showProgress() {
    const photos = this.tray?.photos || [];
    const open = photos.filter((p) => ["waiting", "measuring"].includes(p.status)).length;
    const text = open ? `Measuring: ${photos.length - open} of ${photos.length} done …` : "";
    const bar = open ? h("progress", { max: photos.length, value: photos.length - open, "aria-label": "Photos measured" }) : "";
    this.progress.replaceChildren(text ? h("span", {}, text) : "", bar);
  }

  showPhotos(tray) {
    this.showProgress();
    const focused = document.activeElement?.dataset?.focus;
    this.photos.replaceChildren(...tray.photos.map((photo) => this.photo(photo)));
    if (focused) this.photos.querySelector(`[data-focus="${CSS.escape(focused)}"]`)?.focus();
    if (!tray.photos.length) {
      this.answer.replaceChildren(h("p", { class: "empty" }, "No photo yet. Add one to see what is in these grounds."));
    }
  }

  // What was held back until the answers stood: small pictures, and the curve where axes shared with other samples changed.
  showRest() {
    if (this.curveIsOld) this.showCurve();
    for (const image of this.photos.querySelectorAll("img[data-src]")) {
      this.pictured.add(image.dataset.src);
      image.src = image.dataset.src;
      delete image.dataset.src;
    }
  }

  photo(photo) {
    const small = `/api/photos/${photo.id}/small`;
    const open = () => this.acts.look.open(this.tray.id, photo.id);
    const told =
      photo.status === "measured"
        ? `${photo.particles} particles${photo.left_out ? `, ${photo.left_out} left out by you` : ""}`
        : WORDS[photo.status];
    return h(
      "li",
      { class: photo.status },
      h(
        "button",
        { type: "button", class: "open", "data-focus": `open-${photo.id}`, onclick: open },
        // The picture waits: measuring needs the machine first, then the answer.
        ["waiting", "measuring"].includes(photo.status)
          ? h("span", { class: "picture" })
          : h("img", { class: "picture", alt: "", loading: "lazy", [this.pictured.has(small) ? "src" : "data-src"]: small }),
        h("span", { class: "file" }, photo.name),
        h("span", { class: "told" }, told),
        h("span", { class: "do" }, photo.status === "places" ? "Set the two places" : "Look closely"),
      ),
      photo.why && h("p", { class: "why" }, photo.why),
      h(
        "button",
        {
          type: "button",
          class: "quiet",
          "aria-label": `Take away the photo ${photo.name}`,
          onclick: () => this.removePhoto(photo),
        },
        "Take away",
      ),
    );
  }

  removePhoto(photo) {
    tell(`/api/photos/${photo.id}`, { removed: true }).then((done) => {
      if (done) toast(`${photo.name} was taken away.`, "Bring it back", () => tell(`/api/photos/${photo.id}`, { removed: false }));
    });
  }
}
