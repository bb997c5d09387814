// What a sample comes to: the two figures that people ask for, the curve, what to do better, and the rest to open.
import { drawing, h, kept, table } from "./dom.js";

const withUnit = (row) => `${row.value}${row.unit ? ` ${row.unit}` : ""}`;

function large(row, says, level) {
  return h(
    "div",
    { class: "figure" },
    h("span", { class: "figure-name" }, row.name),
    h("strong", {}, row.value, h("small", {}, row.unit ? ` ${row.unit}` : "")),
    h("span", { class: "between" }, kept(`between ${row.interval.replace(" – ", " and ")}${row.unit ? ` ${row.unit}` : ""} (${level})`)),
    h("span", { class: "says" }, says),
  );
}

// The curve of a sample, on axes that all samples share; `all` changes whenever one of them does.
export function curve(id, tray, result, fines, all) {
  const [d10, d50, d90] = result.rows;
  return drawing(
    `/api/trays/${id}/curve.svg?fines_um=${fines}&shared=true&of=${encodeURIComponent(`${all} ${tray.name}`)}`,
    `Share of the mass by size, and the share finer than each size. D10 ${withUnit(d10)}, D50 ${withUnit(d50)}, D90 ${withUnit(d90)}.`,
    "half",
  );
}

export function answerView(box, tray, result, plot) {
  if (result.error) {
    box.replaceChildren(h("p", { class: "why" }, result.error));
    return;
  }
  if (!result.rows) {
    if (tray.photos.some((p) => ["failed", "places"].includes(p.status)) && !tray.photos.some((p) => ["waiting", "measuring"].includes(p.status))) {
      const has = (test) => tray.photos.some(test);
      let next = "No answer yet: see below what is wrong with the photo.";
      if (has((p) => p.status === "places")) next = "No answer yet: open a photo and click on both ends of a length that you know.";
      else if (has((p) => p.wants_scale)) next = "No answer yet: how large a pixel is must be known. Choose below where the scale comes from.";
      box.replaceChildren(h("p", { class: "empty" }, next));
    } else if (tray.photos.length) box.replaceChildren(h("p", { class: "empty" }, "The answer comes in a moment."));
    return;
  }
  const [d10, d50, d90, span, share] = result.rows;
  const missing = tray.photos.filter((p) => ["failed", "places"].includes(p.status)).length;
  const wasOpen = box.querySelector("details.figures")?.open;
  const figures = h(
    "details",
    { class: "part figures", open: wasOpen || undefined },
    h("summary", {}, "All figures, and what they rest on"),
    table(
      "Figures with intervals",
      ["figure", "by mass", `${result.level} interval`, "by number"],
      result.rows.map((row) => [
        [row.name, row.says],
        withUnit(row),
        `${row.interval}${row.unit ? ` ${row.unit}` : ""}`,
        row.number === null ? "" : `${row.number}${row.unit ? ` ${row.unit}` : ""}`,
      ]),
    ),
    h("p", { class: "hint" }, result.by_number),
    h("ul", { class: "notes" }, [...result.notes, ...result.scale].map((note) => h("li", {}, note))),
  );
  box.replaceChildren(
    h(
      "div",
      { class: "large" },
      large(d50, d50.says, result.level),
      large(share, share.says, result.level),
    ),
    h(
      "dl",
      { class: "small-figures" },
      [d10, d90, span].map((row) => h("div", {}, h("dt", {}, row.name), h("dd", {}, withUnit(row), " ", h("small", {}, row.interval)), h("dd", { class: "says" }, row.says))),
    ),
    h(
      "p",
      { class: "counted" },
      `${result.counted}${result.left_out ? `, ${result.left_out} left out by you` : ""}.`,
      missing ? h("strong", {}, ` ${missing} of ${tray.photos.length} photos ${missing === 1 ? "is" : "are"} not counted: see below.`) : "",
    ),
    plot,
    result.advice.length
      ? h(
          "div",
          { class: "advice" },
          h("h3", {}, "Better next time"),
          h("ul", {}, result.advice.map((text) => h("li", {}, text))),
        )
      : "",
    figures,
  );
}
