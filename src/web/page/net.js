// Requests to the server that the page came from, and to no other.
import { h, toast } from "./dom.js";

async function answered(response) {
  if (response.ok) return response.status === 204 ? null : response.headers.get("content-type")?.includes("json") ? response.json() : null;
  let why = `The server says ${response.status}.`;
  try {
    why = (await response.json()).error || why;
  } catch {
    // No sentence came with it.
  }
  throw new Error(why);
}

const away = "The server does not answer. Is lightsieve serve still running?";
const gone = () => {
  throw new Error(away);
};

export const ask = (path) => fetch(path).catch(gone).then(answered);

export const send = (path, body) =>
  fetch(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body ?? {}),
  }).catch(gone).then(answered);

// Sends, and says so where it failed; true where it did not.
export const tell = (path, body) =>
  send(path, body).then(
    () => true,
    (error) => {
      toast(error.message);
      return false;
    },
  );

// A number for a new sample that no other has: sent along with its first photo, it need not be asked for.
export const newNumber = () => 2 ** 32 + Math.floor(Math.random() * 2 ** 48);

// Sends a photo, of a sample that may be new; `onSent(bytes, all)` hears how much of it has left. fetch() does not tell,
// this older way does.
export const upload = (tray, isNew, file, onSent) =>
  new Promise((done, fail) => {
    const request = new XMLHttpRequest();
    request.open("POST", `/api/trays/${tray}/photos?new=${isNew}&name=${encodeURIComponent(file.name || "photo")}`);
    request.setRequestHeader("content-type", "application/octet-stream");
    request.upload.onprogress = (event) => onSent(event.loaded, event.total);
    request.onload = () => done(new Response(request.response, { status: request.status, headers: { "content-type": request.getResponseHeader("content-type") || "" } }));
    request.onerror = () => fail(new Error(away));
    request.send(file);
  }).then(answered);

// Sends photos one after the other, says in `line` how far it is, and gives back what was not taken, with the reason.
export async function uploadAll(tray, files, line, isNew = false) {
  const failed = [];
  for (const [i, file] of files.entries()) {
    line.begin(files.length > 1 ? `Sending photo ${i + 1} of ${files.length}` : "Sending the photo", file.size);
    try {
      await upload(tray, isNew, file, line.sent);
    } catch (error) {
      failed.push(`${file.name}: ${error.message}`);
    }
  }
  line.end();
  return failed;
}

// A line that says how much of a photo has left, in `box`.
export function sendingLine(box) {
  const [what, bar, bytes] = [h("span", { role: "status" }), h("progress"), h("span", { class: "bytes", "aria-hidden": "true" })];
  const mb = (n) => (n / 1e6).toFixed(1);
  const show = (loaded, all) => {
    [bar.max, bar.value] = [all || 1, loaded];
    bytes.textContent = loaded < all ? `${mb(loaded)} of ${mb(all)} MB` : `${mb(all)} MB sent, now being checked`;
  };
  box.replaceChildren(what);
  return {
    begin(text, size) {
      what.textContent = `${text} …`;
      bar.ariaLabel = text;
      if (!bar.isConnected) box.append(bar, bytes);
      show(0, size);
    },
    sent: show,
    end(text = "") {
      box.replaceChildren(what);
      what.textContent = text;
    },
  };
}

// Calls `work(wish)` for the last wish only: while one is at work, those between are dropped. Done when none is left.
export function latest(work) {
  let [running, next] = [null, null];
  const run = async () => {
    while (next) {
      const { wish } = next;
      next = null;
      try {
        await work(wish);
      } catch (error) {
        toast(error.message);
      }
    }
    running = null;
  };
  return (wish) => {
    next = { wish };
    running ??= run();
    return running;
  };
}
