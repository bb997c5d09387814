// The phone's page: photos go into a sample on the computer.
import { find, h, toast } from "./dom.js";
import { ask, send, sendingLine, uploadAll } from "./net.js";

let chosen = Number(localStorage.getItem("tray")) || 0;
const sent = [];
const line = sendingLine(find("progress"));

async function join() {
  const key = location.hash.slice(1);
  if (!key) return;
  history.replaceState(null, "", "/");
  await send("/api/join", { key });
}

async function refresh() {
  const { trays } = await ask("/api/phone");
  if (!trays.length) {
    await send("/api/trays", {});
    return refresh();
  }
  if (!trays.some((t) => t.id === chosen)) chosen = trays.at(-1).id;
  const select = find("tray");
  if (document.activeElement !== select) {
    select.replaceChildren(...trays.map((t) => h("option", { value: t.id, selected: t.id === chosen }, `${t.name} (${t.photos.length})`)));
  }
  const words = { measured: "measured", measuring: "being measured", waiting: "waiting", failed: "not measured", places: "two places wanted, on the computer" };
  const photos = trays.find((t) => t.id === chosen)?.photos || [];
  find("photos").replaceChildren(
    ...sent.map((text) => h("li", { class: "why" }, text)),
    ...photos.map((p) => h("li", {}, h("b", {}, p.name), ` ${words[p.status]}`, p.why ? `: ${p.why}` : "")),
  );
  find("in").hidden = false;
  find("out").hidden = true;
}

function refused(error) {
  find("in").hidden = true;
  find("out").hidden = false;
  find("why").textContent = error.message;
}

async function take(input) {
  const files = [...input.files];
  const failed = await uploadAll(chosen, files, line);
  sent.unshift(...failed);
  if (failed.length < files.length) line.end("Sent. It shows on the computer.");
  input.value = "";
  refresh().catch(refused);
}

for (const id of ["take", "choose"]) find(id).addEventListener("change", (event) => take(event.target));
find("tray").addEventListener("change", (event) => {
  chosen = Number(event.target.value);
  localStorage.setItem("tray", chosen);
  event.target.blur();
  refresh().catch(refused);
});
find("new").addEventListener("click", async () => {
  try {
    chosen = (await send("/api/trays", {})).id;
    await refresh();
    toast("A new sample is on the computer, too.");
  } catch (error) {
    refused(error);
  }
});

join().catch((error) => error).then((failed) =>
  refresh().catch((error) => refused(failed || error)),
);
setInterval(() => {
  if (!find("in").hidden && !document.hidden) refresh().catch(refused);
}, 2500);
