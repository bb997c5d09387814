// Requests to the server that the page came from, and to no other.
import { toast } from "./dom.js";

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

const gone = () => {
  throw new Error("The server does not answer. Is lightsieve serve still running?");
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

export const upload = (tray, file) =>
  fetch(`/api/trays/${tray}/photos?name=${encodeURIComponent(file.name || "photo")}`, {
    method: "POST",
    headers: { "content-type": "application/octet-stream" },
    body: file,
  }).catch(gone).then(answered);

// Calls `work(wish)` for the last wish only: while one is at work, those between are dropped.
export function latest(work) {
  let [busy, next] = [false, null];
  return async function run(wish) {
    next = { wish };
    if (busy) return;
    busy = true;
    while (next) {
      const { wish: now } = next;
      next = null;
      try {
        await work(now);
      } catch (error) {
        toast(error.message);
      }
    }
    busy = false;
  };
}
