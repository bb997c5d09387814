// The comparison of samples: the verdict first.
import { drawing, find, h, kept, table } from "./dom.js";
import { ask, latest } from "./net.js";

const SAID = { different: "Different", alike: "Alike", undecided: "Not decided" };

export function verdictView() {
  const box = find("verdict");
  let [base, seen, opened] = [null, null, false];

  const load = latest(async ({ key, fines, trays }) => {
    let found;
    try {
      found = await ask(`/api/comparison?base=${base}&fines_um=${fines}`);
    } catch (error) {
      // Asked again with the next change, also where nothing else is new.
      seen = null;
      box.replaceChildren(h("p", { class: "why" }, error.message));
      return;
    }
    show(found.against, trays, fines, key);
  });

  function show(all, trays, fines, key) {
    const select = h(
      "select",
      {
        onchange: (event) => {
          base = Number(event.target.value);
          seen = null;
          load({ key, fines, trays });
        },
      },
      trays.map((t) => h("option", { value: t.id, selected: t.id === base }, t.name)),
    );
    const address = (ending, more) => `/api/comparison${ending}?base=${base}&fines_um=${fines}${more}`;
    const focused = document.activeElement?.closest?.("#verdict select") !== null && document.activeElement?.tagName === "SELECT";
    box.replaceChildren(
      h("h2", {}, "What differs"),
      ...all.map((c) =>
        h(
          "section",
          { class: `said ${c.verdict}` },
          h("p", { class: "verdict" }, h("span", { class: "said-word" }, `${SAID[c.verdict]}:`), " ", kept(c.text.replace(/^(Different|Alike): /, ""))),
          c.notes.map((note) => h("p", { class: "note" }, note)),
          h(
            "details",
            { class: "part", open: opened || undefined, ontoggle: (event) => { opened = event.target.open; } },
            h("summary", {}, `Curves and figures: ${c.names[1]} against ${c.names[0]}`),
            drawing(address(".svg", `&other=${c.tray}&of=${encodeURIComponent(key)}`), `Share of the mass finer than each size for ${c.names[0]} and ${c.names[1]}, their difference, and the share in each class of size. The numbers are in the table.`),
            table(
              `${c.sides[1]} against ${c.sides[0]}`,
              ["figure", c.names[0], c.names[1], "change", `${c.level} interval`, "p, all figures", "verdict"],
              c.rows.map((r) => [[r.name, r.says], ...r.values, r.change, r.interval, r.p, r.said]),
            ),
            c.means.map((text) => h("p", { class: "hint" }, text)),
          ),
        ),
      ),
      h(
        "div",
        { class: "row" },
        trays.length > 1 ? h("label", { class: "field" }, h("span", {}, "Compared with"), select) : "",
        h("a", { class: "button", href: address(".html", ""), download: "" }, "Download the report"),
        h("a", { href: address(".json", ""), download: "" }, "Results (JSON)"),
      ),
    );
    if (focused) box.querySelector("select")?.focus();
  }

  return {
    update(state, fines) {
      const trays = (state?.trays || []).filter((t) => t.photos.some((p) => p.status === "measured"));
      box.hidden = trays.length < 2;
      if (box.hidden) {
        seen = null;
        return;
      }
      if (!trays.some((t) => t.id === base)) base = trays[0].id;
      const key = JSON.stringify([trays.map((t) => [t.id, t.name, t.answer]), fines, base]);
      if (key === seen) return;
      seen = key;
      load({ key, fines, trays });
    },
  };
}
