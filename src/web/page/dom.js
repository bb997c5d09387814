// Elements are made here and nowhere from text, so that no name can become markup.

// h("button", { class: "x", onclick: act }, "text", child, …)
export function h(tag, props = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "class") made.className = value;
    else if (name in made && name !== "list") made[name] = value;
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

export const find = (id) => document.getElementById(id);

// A number typed with a point or a comma; null for anything else.
export function number(text) {
  const value = Number(String(text).trim().replace(",", "."));
  return String(text).trim() !== "" && Number.isFinite(value) ? value : null;
}

// A number and its unit are not parted at the end of a line.
export const kept = (text) => text.replace(/ (?=(µm|%|g)([^\p{L}]|$))/gu, "\u00a0");

let closing = 0;

// A line at the foot of the page, with something to do about it.
export function toast(text, name, act) {
  const box = find("toast");
  clearTimeout(closing);
  const close = () => box.replaceChildren();
  const button = name && h("button", { type: "button", onclick: () => { close(); act(); } }, name);
  box.replaceChildren(
    h("span", {}, text),
    button || "",
    h("button", { type: "button", class: "quiet", "aria-label": "Close this message", onclick: close }, "×"),
  );
  const later = () => (box.matches(":focus-within, :hover") ? (closing = setTimeout(later, 2000)) : close());
  closing = setTimeout(later, name ? 12000 : 8000);
}

// A table with a caption; the first cell of a row heads it, as a text or as one with what it tells. Where there is no room each row is
// a block, where every cell carries its head; to a screen reader it is a table then only for its roles.
export function table(caption, heads, rows) {
  const name = (cell) => (Array.isArray(cell) ? [cell[0], cell[1] ? h("small", {}, cell[1]) : ""] : [cell]);
  const row = ([first, ...rest]) =>
    h(
      "tr",
      { role: "row" },
      h("th", { scope: "row", role: "rowheader" }, name(first)),
      rest.map((cell, i) => h("td", { role: "cell", "data-head": heads[i + 1] }, cell)),
    );
  return h(
    "div",
    { class: "wide", tabindex: 0, role: "group", "aria-label": caption },
    h(
      "table",
      { role: "table" },
      h("caption", {}, caption),
      h("thead", { role: "rowgroup" }, h("tr", { role: "row" }, heads.map((head) => h("th", { scope: "col", role: "columnheader" }, head)))),
      h("tbody", { role: "rowgroup" }, rows.map(row)),
    ),
  );
}

// A plot, drawn as wide as there is room for; `address` has a question mark.
export function drawing(address, text, room = "wide") {
  return h(
    "figure",
    { class: "plot" },
    h(
      "picture",
      {},
      h("source", { media: "(max-width: 640px)", srcset: `${address}&room=narrow` }),
      h("img", { src: `${address}&room=${room}`, alt: text }),
    ),
  );
}
