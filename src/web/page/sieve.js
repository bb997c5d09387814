// Weighed sieve layers, typed beside the sample, and what the photos predict for them.
import { drawing, h, kept, number, table, toast } from "./dom.js";
import { ask, latest, tell } from "./net.js";

const typed = (value, label) =>
  h("input", { type: "text", inputMode: "decimal", size: 7, autocomplete: "off", value: value ?? "", "aria-label": label });

// "34.8 (34.5 to 35.1 %)": one sign is enough.
const range = (value, ends) => `${value.replace(" %", "")} (${ends})`;

export function sievePart(id) {
  const value = h("span", { class: "set" });
  const rows = h("tbody");
  const [charge, receiver, step] = [typed("", "Mass put on the stack in grams"), typed("", "Mass in the receiver in grams"), typed("0.1", "Smallest step of the balance in grams")];
  const field = (text, input) => h("label", { class: "field" }, h("span", {}, text), input);
  const answer = h("div");
  const addRow = (aperture, mass) => {
    const n = rows.children.length + 1;
    rows.append(
      h("tr", {}, h("td", {}, typed(aperture, `Sieve ${n}: aperture in µm`)), h("td", {}, typed(mass, `Sieve ${n}: mass on it in grams`))),
    );
  };
  let [seen, last] = [null, false];

  function read() {
    const need = (input, what) => {
      const found = number(input.value);
      if (found === null) throw new Error(`${what}: type a number, such as 8.6.`);
      return found;
    };
    const filled = [...rows.querySelectorAll("tr")].map((row) => [...row.querySelectorAll("input")]).filter((pair) => pair.some((i) => i.value.trim()));
    return {
      retained: filled.map(([a, m]) => [need(a, "Aperture"), need(m, "Mass on a sieve")]),
      charge_g: charge.value.trim() ? need(charge, "Mass put on") : null,
      receiver_g: receiver.value.trim() ? need(receiver, "Receiver") : null,
      step_g: need(step, "Step of the balance"),
    };
  }

  const box = h(
    "details",
    { class: "part sieve" },
    h("summary", {}, h("span", {}, "Sieve weights"), " ", value),
    h("p", { class: "hint" }, "Sieved the same grounds? Type what lay on each sieve, and see it beside what the photos predict."),
    h(
      "table",
      { class: "typed" },
      h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "aperture (µm)"), h("th", { scope: "col" }, "on it (g)"))),
      rows,
    ),
    h("div", { class: "row" }, h("button", { type: "button", onclick: () => addRow() }, "One more sieve")),
    h("div", { class: "row" }, field("Receiver (g)", receiver), field("Put on the stack (g)", charge), field("Balance shows steps of (g)", step)),
    h(
      "div",
      { class: "row" },
      h(
        "button",
        {
          type: "button",
          class: "main",
          onclick: () => {
            try {
              tell(`/api/trays/${id}`, { weights: read() });
            } catch (error) {
              toast(error.message);
            }
          },
        },
        "Compare with the photos",
      ),
      h("button", { type: "button", onclick: () => tell(`/api/trays/${id}`, { no_weights: true }) }, "Forget the weights"),
    ),
    answer,
  );

  const load = latest(async (key) => {
    const found = await ask(`/api/trays/${id}/sieve`);
    answer.replaceChildren(
      h("div", { class: `said ${found.kind}` }, h("p", { class: "verdict" }, kept(found.text))),
      drawing(`/api/trays/${id}/sieve.svg?of=${encodeURIComponent(key)}`, "Share of the mass in each sieve layer, weighed and predicted from the photos; the numbers are in the table.", "half"),
      table(
        "Layers, weighed and from the photos",
        ["layer", "weighed", "share (rounding allows)", "photos (95 % interval)"],
        found.rows.map((r) => [r.layer, r.mass, range(r.weighed, r.allows), range(r.photo, r.interval)]),
      ),
      h("ul", { class: "notes" }, found.notes.map((note) => h("li", {}, note))),
    );
  });

  function fill(weights) {
    rows.replaceChildren();
    for (const [aperture, mass] of weights?.retained || []) addRow(aperture, mass);
    while (rows.children.length < 3) addRow();
    charge.value = weights?.charge_g ?? "";
    receiver.value = weights?.receiver_g ?? "";
    step.value = weights?.step_g ?? 0.1;
  }

  fill(null);
  return {
    box,
    refresh(tray, hasAnswer) {
      const weights = JSON.stringify(tray.weights);
      if (weights !== last) {
        last = weights;
        if (!box.contains(document.activeElement) || tray.weights === null) fill(tray.weights);
        value.textContent = tray.weights ? `${tray.weights.retained.length} sieves weighed` : "none typed";
      }
      const key = `${tray.answer} ${weights} ${tray.name}`;
      if (!tray.weights || !hasAnswer) {
        answer.replaceChildren();
        seen = null;
      } else if (key !== seen) {
        seen = key;
        load(key);
      }
    },
  };
}
