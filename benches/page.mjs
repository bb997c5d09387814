// Time from a photo chosen on the page to its D50 shown, beside the command line on the same photo, in turns.
//
//     cargo build --release && npm ci --prefix tests/browser
//     node benches/page.mjs target/release/lightsieve [ROUNDS]
//
// A photo of 12 megapixels as `lightsieve render` makes it. The command line is timed as a whole process that writes
// JSON and CSV; the page with everything that comes before the figure: upload, check, measuring, drawing on the screen.
// Medians are compared. LIGHTSIEVE_CHROMIUM names a browser in another place than /usr/bin/chromium.
import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";

const tool = resolve(process.argv[2] ?? "target/release/lightsieve");
const rounds = Number(process.argv[3] ?? 9);
const place = mkdtempSync(join(tmpdir(), "lightsieve-page-"));
process.env.LIGHTSIEVE = tool;
process.env.LIGHTSIEVE_CHROMIUM ??= "/usr/bin/chromium";
process.env.LIGHTSIEVE_PHOTOS = place;
const run = (...line) => execFileSync(tool, line, { cwd: place, stdio: "ignore" });
run("render", "photo.jpg", "--size", "4000x3000");
run("render", "small.jpg", "--size", "1400x1050", "--seed", "2");

const desk = await import("../tests/browser/desk.mjs");
const median = (values) => values.sort((a, b) => a - b)[Math.floor(values.length / 2)];
const [onPage, onLine] = [[], []];
for (let round = 0; round <= rounds; round += 1) {
  const server = await desk.serve(`round-${round}`, await desk.freePort());
  const p = await desk.page(server.address);
  await desk.ready(p);
  // A small photo first: the scale is asked for with the first photo.
  await p.locator("#first input[data-new]").setInputFiles(join(place, "small.jpg"));
  await p.getByText("Scale for all samples").click();
  await p.locator("#scale-all select").selectOption("given");
  await p.locator("#scale-all").getByRole("textbox").fill("20");
  await p.getByRole("button", { name: "Use this scale" }).click();
  await desk.d50(p, 0);
  // Watched in the page itself, frame by frame, from the moment at which it has the photo: the driver asks only now and
  // then, and takes its time to hand over a file.
  const shown = p.evaluate(() => new Promise((done) => {
    let start;
    addEventListener("change", () => { start = performance.now(); }, { capture: true, once: true });
    const look = () => (document.querySelectorAll(".tray")[1]?.querySelector(".figure strong")?.innerText ? done(performance.now() - start) : requestAnimationFrame(look));
    look();
  }));
  await p.locator("#new-tray input[data-new]").setInputFiles(join(place, "photo.jpg"));
  const page = await shown;
  await desk.cleared();
  const start = performance.now();
  run("measure", "photo.jpg", "--scale", "20", "--json", "out.json", "--particles", "out.csv");
  const line = performance.now() - start;
  // The first round warms both up.
  if (round > 0) {
    onPage.push(page);
    onLine.push(line);
  }
}
await desk.close();
rmSync(place, { recursive: true, force: true });
const [page, line] = [median(onPage), median(onLine)];
console.log(`median of ${rounds}: page ${page.toFixed(0)} ms, command line ${line.toFixed(0)} ms, ratio ${(page / line).toFixed(2)}`);
