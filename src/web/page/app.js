// The page as a whole: follows the server, and keeps one view for each sample.
import { find, h, toast } from "./dom.js";
import { latest, newNumber, send, tell, uploadAll } from "./net.js";
import { TrayView } from "./tray.js";
import { verdictView } from "./verdict.js";
import { scaleForm, scaleName } from "./scale.js";
import { lookView } from "./look.js";

// An answer is on the screen after so long, on a slow machine, too.
const AFTER_PAINT_MS = 50;

const views = new Map();
let state = null;
// A limit of the fines that is tried, before it is set.
let tried = null;

const look = lookView(() => state);
const verdict = verdictView();
const fines = () => tried ?? state?.fines_um ?? 100;

// Photos on their way to the server are lost where the page is left.
let onTheWay = 0;
addEventListener("beforeunload", (event) => {
  if (onTheWay) event.preventDefault();
});

async function addPhotos(tray, files, isNew = false) {
  onTheWay += 1;
  const failed = await uploadAll(tray, [...files], lineOf(tray), isNew);
  onTheWay -= 1;
  shown(tray).then(() => views.get(tray)?.refused(failed));
  if (failed.length) toast(failed.length === 1 ? failed[0] : `${failed.length} files were not taken: see the sample.`);
}

// The line of a sample that says how far sending is; of a new one as soon as it is on the page, for which its photos do
// not wait.
function lineOf(tray) {
  let line = views.get(tray)?.line;
  let waiting = null;
  if (!line) shown(tray).then(() => {
    line = views.get(tray).line;
    if (waiting) line.begin(...waiting);
  });
  return {
    begin(...what) {
      waiting = what;
      line?.begin(...what);
    },
    sent: (...bytes) => line?.sent(...bytes),
    end(...text) {
      waiting = null;
      line?.end(...text);
    },
  };
}

async function newTray(files = []) {
  if (files.length) return addPhotos(newNumber(), files, true);
  try {
    const { id } = await send("/api/trays", {});
    await shown(id);
    views.get(id)?.name.focus();
  } catch (error) {
    toast(error.message);
  }
}

// Waits until the sample is on the page.
const awaited = new Map();
const shown = (id) => new Promise((done) => (views.has(id) ? done() : awaited.set(id, done)));

const acts = { addPhotos, look, fines, compareAgain: () => verdict.update(state, fines()) };

function update(next) {
  state = next;
  if (tried === state.fines_um) tried = null;
  const here = new Set(state.trays.map((t) => t.id));
  for (const [id, view] of views) {
    if (here.has(id)) continue;
    view.element.remove();
    views.delete(id);
  }
  for (const tray of state.trays) {
    if (!views.has(tray.id)) {
      views.set(tray.id, new TrayView(tray, acts));
      find("trays").insertBefore(views.get(tray.id).element, find("new-tray"));
    }
    views.get(tray.id).update(tray, state);
    awaited.get(tray.id)?.();
    awaited.delete(tray.id);
  }
  answersFirst();
  find("first").hidden = state.trays.length > 0;
  find("bench").hidden = state.trays.length === 0;
  find("folder").textContent = state.folder;
  document.body.dataset.ready = "yes";
  updateCommon();
  look.update(state);
  updatePhone();
}

// The answers are what people wait for: what else the machine has to work on comes after them.
const answersFirst = latest(async () => {
  await Promise.all([...views.values()].map((view) => view.answered));
  verdict.update(state, fines());
  setTimeout(() => views.forEach((view) => view.showRest()), AFTER_PAINT_MS);
});

function updateCommon() {
  if (document.activeElement !== find("fines-number")) find("fines-number").value = fines();
  if (document.activeElement !== find("fines-range")) find("fines-range").value = fines();
  const box = find("scale-all");
  const now = JSON.stringify(state.scale);
  if (box.dataset.of !== now && !box.contains(document.activeElement)) {
    box.dataset.of = now;
    find("scale-all-name").textContent = scaleName(state.scale);
    box.replaceChildren(
      scaleForm(state.scale, state.coins, [
        ["Use this scale", (scale) => tell("/api/settings", { scale })],
      ]),
    );
  }
}

function tryFines(value) {
  if (!(value >= 1 && value <= 100000)) return;
  tried = value;
  find("fines-number").value = value;
  find("fines-range").value = value;
  for (const view of views.values()) view.refresh(fines());
  verdict.update(state, fines());
}

// One after the other: sent side by side, an earlier limit could come last and stay.
const setFines = latest(async () => {
  if (tried !== null && !(await tell("/api/settings", { fines_um: tried }))) tried = null;
});

function updatePhone() {
  find("phone-off").hidden = state.phone !== null;
  find("phone-on").hidden = state.phone === null;
  if (!state.phone) return;
  find("phone-link").textContent = state.phone.link;
  const code = find("phone-code");
  if (code.dataset.of !== state.phone.link) {
    code.dataset.of = state.phone.link;
    code.src = `/api/phone-code.svg?${Date.now()}`;
  }
}

function follow() {
  const source = new EventSource("/api/events");
  source.onmessage = (event) => {
    find("gone").hidden = true;
    update(JSON.parse(event.data));
  };
  source.onerror = () => {
    find("gone").hidden = false;
    // The browser tries again by itself but where the server was away for long.
    if (source.readyState === EventSource.CLOSED) {
      source.close();
      setTimeout(follow, 2000);
    }
  };
}

for (const name of ["help", "phone"]) {
  for (const opener of document.querySelectorAll(`[data-opens="${name}"]`)) {
    opener.addEventListener("click", () => find(name).showModal());
  }
}
for (const closer of document.querySelectorAll("dialog [data-closes]")) {
  closer.addEventListener("click", () => closer.closest("dialog").close());
}
find("fines-range").addEventListener("input", (event) => tryFines(Number(event.target.value)));
find("fines-range").addEventListener("change", () => setFines());
find("fines-number").addEventListener("change", (event) => {
  tryFines(Number(event.target.value));
  setFines();
});
for (const input of document.querySelectorAll("input[data-new]")) {
  input.addEventListener("change", () => {
    newTray([...input.files]);
    input.value = "";
  });
}
for (const button of document.querySelectorAll("[data-demo]")) {
  button.addEventListener("click", () => tell("/api/demo"));
}
find("add-empty").addEventListener("click", () => newTray());

// Photos dropped beside a sample make a new one.
const holdsFiles = (event) => [...(event.dataTransfer?.types || [])].includes("Files");
addEventListener("dragover", (event) => {
  if (!holdsFiles(event)) return;
  event.preventDefault();
  document.body.classList.add("dragging");
});
addEventListener("dragleave", (event) => {
  if (!event.relatedTarget) document.body.classList.remove("dragging");
});
addEventListener("drop", (event) => {
  if (!holdsFiles(event)) return;
  event.preventDefault();
  document.body.classList.remove("dragging");
  const files = [...event.dataTransfer.files];
  const tray = event.target.closest?.("[data-tray]");
  if (tray) addPhotos(Number(tray.dataset.tray), files);
  else newTray(files);
});

follow();
