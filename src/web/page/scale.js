// Where the scale comes from: a form for the seven ways.
import { h, number, toast } from "./dom.js";

const coinName = (name) => name.replace("-", " ").replace("2pound", "2 pound");

const WAYS = {
  sheet: ["Printed sheet", "The marks of the scale sheet are found in the photo. Under “How to photograph” there is the sheet to print."],
  card: ["Bank card", "A card of 85.60 × 53.98 mm beside the grounds, its darker side up."],
  coin: ["Coin", "A coin beside the grounds, the camera held straight above."],
  disc: ["Round object", "Anything round and flat whose diameter you know."],
  places: ["Two clicks", "In each photo you click on both ends of a length that you know."],
  calibration: ["Calibrated stand", "The file that lightsieve calibrate wrote for your stand."],
  given: ["µm per pixel", "You know how much paper one pixel shows."],
};

export function scaleName(scale) {
  const more = {
    coin: () => `: ${coinName(scale.name)}`,
    disc: () => `: ${scale.diameter_mm} mm`,
    given: () => `: ${scale.um_per_px}`,
  }[scale.from];
  return WAYS[scale.from][0] + (more ? more() : "");
}

const field = (text, input) => h("label", { class: "field" }, h("span", {}, text), input);
const typed = (value) => h("input", { type: "text", inputMode: "decimal", value: value ?? "", size: 8, autocomplete: "off" });

// Fields of one way, and a function that gives the scale or throws what is missing.
function fields(way, scale, coins) {
  const same = scale.from === way ? scale : {};
  const need = (input, what) => {
    const value = number(input.value);
    if (value === null) throw new Error(`${what}: type a number, such as 24.25.`);
    return value;
  };
  switch (way) {
    case "sheet": {
      const bars = [0, 1].map((i) => typed(same.bars_mm?.[i]));
      const get = () => {
        const measured = bars.map((b) => b.value.trim());
        if (measured.every((b) => b === "")) return { from: way, bars_mm: null };
        return { from: way, bars_mm: bars.map((b) => need(b, "Both bars")) };
      };
      return [[field("Bar along, by a ruler (mm, may stay empty)", bars[0]), field("Bar across (mm)", bars[1])], get];
    }
    case "coin": {
      const select = h("select", {}, coins.map((c) => h("option", { value: c, selected: c === same.name }, coinName(c))));
      return [[field("Which coin", select)], () => ({ from: way, name: select.value })];
    }
    case "disc": {
      const [wide, thick] = [typed(same.diameter_mm), typed(same.thickness_mm ?? 0)];
      const get = () => ({ from: way, diameter_mm: need(wide, "Diameter"), thickness_mm: need(thick, "Thickness") });
      return [[field("Diameter (mm)", wide), field("Thickness (mm)", thick)], get];
    }
    case "given": {
      const um = typed(same.um_per_px);
      return [[field("µm per pixel", um)], () => ({ from: way, um_per_px: need(um, "µm per pixel") })];
    }
    case "calibration": {
      let text = same.file || "";
      const file = h("input", { type: "file", accept: ".json,application/json" });
      file.addEventListener("change", async () => { text = (await file.files[0]?.text()) || ""; });
      const trust = h("input", { type: "checkbox", checked: same.trusted || undefined });
      const get = () => {
        if (!text) throw new Error("Choose the calibration file first.");
        return { from: way, file: text, trusted: trust.checked };
      };
      return [[field("Calibration file", file), field("Use it for another camera, too", trust)], get];
    }
    default:
      return [[], () => ({ from: way })];
  }
}

// `acts` are pairs of a button's text and what it does with the scale.
export function scaleForm(scale, coins, acts) {
  const box = h("div", { class: "row" });
  const says = h("p", { class: "hint" });
  let get = null;
  const select = h(
    "select",
    {},
    Object.entries(WAYS).map(([way, [name]]) => h("option", { value: way, selected: way === scale.from }, name)),
  );
  const change = () => {
    const [inputs, read] = fields(select.value, scale, coins);
    get = read;
    says.textContent = WAYS[select.value][1];
    box.replaceChildren(...inputs);
  };
  select.addEventListener("change", change);
  change();
  const buttons = acts.map(([text, act]) =>
    h(
      "button",
      {
        type: "button",
        onclick: async (event) => {
          try {
            const { target } = event;
            target.blur();
            await act(get());
          } catch (error) {
            toast(error.message);
          }
        },
      },
      text,
    ),
  );
  return h("div", { class: "scale-form" }, field("How large is a pixel?", select), says, box, h("div", { class: "row" }, buttons));
}
