// Whole ways through the local page in a real browser. Run by tests/browser.rs, which says where everything is.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import {
  accessible, bad, benchStudy, cleared, close, d50, faults, freePort, isNarrowEnough, lastSeen, page, phone, photos, picture, ready, report,
  seen, serve, verdict, wholeSeen,
} from "./desk.mjs";

// What the page says of a photo on its way, once a part of it has gone: MB sent and MB in all.
async function goneSoFar(of) {
  const said = await of.waitForFunction(() => {
    const found = /^(\d+\.\d) of (\d+\.\d) MB$/.exec(document.querySelector(".sending .bytes")?.textContent || "");
    return found && Number(found[1]) > 0 ? [Number(found[1]), Number(found[2])] : null;
  });
  return said.jsonValue();
}

const ways = {
  async "first run with the demo photos"(port) {
    const server = await serve("demo", port);
    const p = await page(server.address);
    await ready(p);
    const paint = await p.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0]?.startTime);
    console.log(`  first paint after ${Math.round(paint)} ms`);
    await seen(p, "first-run");
    await accessible(p, "the first run");
    await p.getByRole("button", { name: "Try it with demo photos" }).click();
    assert.match(await verdict(p), /^Different: .*D50 is \d/);
    assert.match(await d50(p, 0), /^\d{3} µm$/);
    // The answer is the first thing seen.
    const top = await p.locator("#verdict .verdict").boundingBox();
    assert.ok(top.y < 300, `the verdict begins at ${top.y} px`);
    await p.waitForTimeout(400);
    await wholeSeen(p, "demo");
    await accessible(p, "two samples");
    await p.emulateMedia({ colorScheme: "dark" });
    await wholeSeen(p, "demo-dark");
    await accessible(p, "two samples in the dark");
    await server.stop();
  },

  async "two trays with three photos each, to a verdict and a report"(port) {
    const server = await serve("two", port);
    const p = await page(server.address);
    await ready(p);
    await p.getByRole("button", { name: "How to photograph" }).click();
    await seen(p, "help");
    await accessible(p, "the help");
    await p.keyboard.press("Escape");
    await p.locator("#first input[data-new]").setInputFiles(photos("new"));
    await p.getByText("Scale for all samples").click();
    await p.locator("#scale-all select").selectOption("given");
    await p.locator("#scale-all").getByRole("textbox").fill("20");
    await p.getByRole("button", { name: "Use this scale" }).click();
    await p.getByText("3 photos, ").waitFor({ timeout: 20000 });
    const name = p.getByLabel("Name of the sample");
    await name.fill("new burrs");
    await name.press("Enter");
    // In the middle of the work.
    await p.locator("#new-tray input[data-new]").setInputFiles(photos("worn").slice(0, 2));
    await p.locator(".tray").nth(1).locator(".photos li").nth(1).waitFor();
    await p.locator(".tray").nth(1).getByText("Sending photo").waitFor({ state: "detached" });
    await p.reload();
    await ready(p);
    await p.locator(".tray").nth(1).locator("input[type=file]").first().setInputFiles(photos("worn").slice(2).concat(bad));
    await p.locator(".tray").nth(1).getByText("3 photos, ").waitFor({ timeout: 20000 });
    assert.match(await p.locator(".bad li").innerText(), /note.*Not a picture/);
    assert.equal(await p.locator(".bad b").count(), 0, "markup in a file's name stays text");
    assert.equal(await p.getByLabel("Name of the sample").first().inputValue(), "new burrs");
    await p.getByText("D50 is").first().waitFor({ timeout: 20000 });
    assert.match(await verdict(p), /^Different: Sample 2 against new burrs: .*D50 is .* larger/);
    await p.locator("#verdict summary").click();
    await p.waitForTimeout(500);
    await wholeSeen(p, "two-samples");
    await accessible(p, "the comparison");
    const [report] = await Promise.all([p.waitForEvent("download"), p.getByText("Download the report").click()]);
    const text = readFileSync(await report.path(), "utf8");
    assert.match(text, /<p class="verdict different">Different: Sample 2 against new burrs/);
    await p.locator(".tray").first().getByText("Downloads").click();
    const [file] = await Promise.all([p.waitForEvent("download"), p.getByText("Results (JSON)").nth(1).click()]);
    const measured = JSON.parse(readFileSync(await file.path(), "utf8"));
    assert.equal(measured.photo.length, 3);
    assert.equal(`${Math.round(measured.distribution.d50_um)} µm`, await d50(p, 0));

    // The limit of the fines follows the slider before it is let go.
    const slider = p.locator("#fines-range");
    await slider.focus();
    const before = await p.locator(".tray .figure-name").nth(1).innerText();
    for (let i = 0; i < 4; i += 1) await slider.press("ArrowRight");
    await p.getByText("fines < 120 µm").first().waitFor();
    assert.equal(before, "fines < 100 µm");

    // Away and back.
    await p.locator(".tray").nth(1).locator("header").getByText("Take away").click();
    await p.locator(".tray").nth(1).waitFor({ state: "detached" });
    await p.getByRole("button", { name: "Bring it back" }).click();
    await p.locator(".tray").nth(1).waitFor();

    // The server is cut off and comes back.
    await server.stop();
    await p.locator("#gone").waitFor({ timeout: 10000 });
    await seen(p, "server-away");
    const again = await serve("two", port);
    await p.locator("#gone").waitFor({ state: "hidden", timeout: 15000 });
    await p.getByText("fines < 120 µm").first().waitFor({ timeout: 20000 });
    assert.equal(await p.locator(".tray").count(), 2);
    assert.match(await verdict(p), /new burrs/);
    await again.stop();
  },

  async "scale by two clicks, a particle left out, sieve weights"(port) {
    const server = await serve("clicks", port);
    const p = await page(server.address);
    await ready(p);
    await p.locator("#first input[data-new]").setInputFiles(photos("new")[0]);
    const tray = p.locator(".tray").first();
    await tray.getByText("Choose below where the scale comes from").waitFor({ timeout: 20000 });
    await wholeSeen(p, "no-scale");
    await accessible(p, "a sample without a scale");
    await tray.locator(".scale select").selectOption("places");
    await tray.getByRole("button", { name: "Use for this sample" }).click();
    await tray.getByText("Set the two places").click();
    const canvas = p.locator("#look canvas");
    await p.locator("#look [data-shown]").waitFor();
    await canvas.click({ position: { x: 300, y: 200 } });
    await canvas.click({ position: { x: 700, y: 200 } });
    await p.getByLabel("Length between the two places").fill("15");
    await seen(p, "two-clicks");
    await accessible(p, "the two clicks");
    await p.getByRole("button", { name: "Measure with this length" }).click();
    await p.locator("#look-line strong").first().waitFor({ timeout: 20000 });
    const before = await p.locator("#look-line").innerText();
    await p.locator("#look [data-shown]").waitFor();

    // By keys: the largest particle, left out.
    await canvas.focus();
    await p.keyboard.press("n");
    await p.locator("#look .grain-spoken").getByText("1 of").waitFor();
    assert.match(await p.locator("#look .grain-spoken").innerText(), /^\d+ µm, widest \d+ µm · measured, 1 of \d+ by size$/);
    await p.keyboard.press("Enter");
    await p.getByText("1 left out by you here.").waitFor();
    assert.notEqual(await p.locator("#look-line").innerText(), before);
    await p.waitForTimeout(400);
    await seen(p, "left-out");
    await accessible(p, "the photo seen closely");
    await p.locator("#look [data-closes]").click();
    await tray.getByText("1 left out by you").first().waitFor();
    const without = await d50(p);

    // By the pointer: back again. With the whole photo in view its place on the screen follows from that in the photo.
    await tray.getByText("Look closely").click();
    await p.locator("#look [data-shown]").waitFor();
    const out = await p.evaluate(async () => {
      const { trays } = await (await fetch("/api/state")).json();
      const told = await (await fetch(`/api/photos/${trays[0].photos[0].id}/outlines`)).json();
      const { x, y } = told.particles.find((particle) => particle.state === "out");
      return { x, y, width: told.width, height: told.height };
    });
    const box = await canvas.boundingBox();
    const zoom = Math.min(box.width / out.width, box.height / out.height);
    await p.mouse.click(box.x + box.width / 2 + (out.x - out.width / 2) * zoom, box.y + box.height / 2 + (out.y - out.height / 2) * zoom);
    await p.getByText("1 left out by you here.").waitFor({ state: "detached" });
    await p.locator("#look [data-closes]").click();
    await p.waitForFunction((old) => document.querySelector(".tray .figure strong").innerText !== old, without);

    await tray.locator(".sieve summary").click();
    const inputs = tray.locator(".sieve input");
    for (const [i, value] of [[0, "710"], [1, "8,6"], [2, "355"], [3, "12.9"], [6, "3.2"], [7, "25"]]) await inputs.nth(i).fill(value);
    await tray.getByRole("button", { name: "Compare with the photos" }).click();
    await tray.getByText("Lost in sieving: 0.30 g").waitFor();
    await p.waitForTimeout(400);
    await tray.screenshot({ path: picture("sieve") });
    await accessible(p, "the sieve weights");
    await server.stop();
  },

  async "keys alone, from the first page to a verdict"(port) {
    const server = await serve("keys", port);
    const p = await page(server.address);
    await ready(p);
    const tabTo = async (what) => {
      for (let i = 0; i < 60; i += 1) {
        await p.keyboard.press("Tab");
        const at = await p.evaluate(() => `${document.activeElement.ariaLabel || ""} ${document.activeElement.innerText || ""}`);
        if (at.includes(what)) return;
      }
      assert.fail(`no way by Tab to ${what}`);
    };
    await tabTo("Try it with demo photos");
    await p.keyboard.press("Enter");
    await verdict(p);
    await tabTo("Curves and figures");
    await p.keyboard.press("Enter");
    await p.locator("#verdict table").waitFor();
    await tabTo("Look closely");
    await p.keyboard.press("Enter");
    await p.locator("#look [data-shown]").waitFor();
    await tabTo("Photo on-the-sheet.jpg");
    await p.keyboard.press("n");
    await p.keyboard.press("Enter");
    await p.getByText("1 left out by you here.").waitFor();
    await p.keyboard.press("Escape");
    await p.keyboard.press("Escape");
    await p.locator("#look").waitFor({ state: "hidden" });
    await server.stop();
  },

  async "a phone sends photos, and the page fits a phone"(port) {
    const server = await serve("phone", port, ["--lan=127.0.0.2"]);
    const p = await page(server.address);
    await ready(p);
    await p.getByRole("button", { name: "Use a phone" }).click();
    await p.waitForTimeout(200);
    await seen(p, "phone-code");
    await accessible(p, "the phone's code");
    const link = await p.locator("#phone-link").innerText();
    await p.keyboard.press("Escape");
    const mobile = await page(link, phone);
    await mobile.locator("#in").waitFor();
    await seen(mobile, "phone-page");
    await accessible(mobile, "the phone's page");
    await isNarrowEnough(mobile, "the phone's page");
    assert.ok(!mobile.url().includes("#"), "the key does not stay in the address");
    // On a slow network it is seen how much of the photo has gone.
    const network = await mobile.context().newCDPSession(mobile);
    await network.send("Network.enable");
    await network.send("Network.emulateNetworkConditions", { offline: false, latency: 20, downloadThroughput: 1e6, uploadThroughput: 150e3 });
    await mobile.locator("#take").setInputFiles(photos("new")[0]);
    const [part, all] = await goneSoFar(mobile);
    assert.ok(part > 0 && part < all, `${part} of ${all} MB`);
    await seen(mobile, "phone-sending");
    await accessible(mobile, "the phone's page while it sends");
    await isNarrowEnough(mobile, "the phone's page while it sends");
    await mobile.getByText("Sent.").waitFor({ timeout: 30000 });
    assert.equal(await mobile.locator("#progress progress").count(), 0);
    // It shows on the computer by itself.
    await p.locator(".photos .file").first().waitFor();
    const stranger = await page(link, phone);
    await stranger.getByText("Not let in").waitFor();
    await seen(stranger, "phone-refused");

    const small = await page(server.address, phone);
    await ready(small);
    await small.locator(".tray .scale select").selectOption("given");
    await small.locator(".tray .scale").getByRole("textbox").fill("20");
    await small.getByRole("button", { name: "Use for this sample" }).click();
    await d50(small);
    await small.waitForTimeout(400);
    await wholeSeen(small, "narrow");
    await isNarrowEnough(small, "the page with an answer");
    await accessible(small, "the page as wide as a phone");
    await small.locator(".open").first().tap();
    await small.locator("#look [data-shown]").waitFor();
    await small.locator("#look canvas").tap({ position: { x: 150, y: 150 } });
    await small.waitForTimeout(400);
    await seen(small, "narrow-closely");
    await isNarrowEnough(small, "the photo seen closely");
    await server.stop();
  },

  async "ten thousand outlines move smoothly"(port) {
    const server = await serve("many", port);
    const p = await page(server.address);
    await ready(p);
    await p.evaluate(() => {
      let seed = 7;
      const random = () => (seed = (seed * 1103515245 + 12345) % 2147483648) / 2147483648;
      const particles = Array.from({ length: 10000 }, (_, id) => {
        const [x, y, r] = [4000 * random(), 3000 * random(), 3 + 25 * random() * random()];
        const outline = Array.from({ length: 40 }, (__, k) => (k * Math.PI) / 20).flatMap((a) => {
          const far = r * (1 + 0.15 * Math.sin(3 * a + id));
          return [x + far * Math.cos(a), y + far * Math.sin(a)];
        });
        return { id, size_um: 40 * r, feret_um: 50 * r, x, y, outline, state: ["in", "in", "in", "below", "cut", "out"][id % 6] };
      });
      const paper = document.createElement("canvas");
      [paper.width, paper.height] = [4000, 3000];
      const box = document.createElement("div");
      document.querySelector("main").prepend(box);
      return new Promise((done) => paper.toBlob((blob) => {
        window.grainView(box, { image: URL.createObjectURL(blob), width: 4000, height: 3000, umPerPx: 20, particles });
        done();
      }, "image/jpeg"));
    });
    await p.locator("[data-shown]").waitFor();
    await p.waitForTimeout(700);
    await p.evaluate(() => {
      window.spent = [];
      const plain = window.requestAnimationFrame.bind(window);
      window.requestAnimationFrame = (act) => plain((now) => {
        const began = performance.now();
        act(now);
        window.spent.push(performance.now() - began);
      });
      window.apart = [];
      let last = performance.now();
      const tick = (now) => {
        window.apart.push(now - last);
        last = now;
        plain(tick);
      };
      plain(tick);
    });
    const box = await p.locator("canvas").boundingBox();
    await p.mouse.move(box.x + 300, box.y + 200);
    await p.mouse.move(box.x + 310, box.y + 210);
    for (let i = 0; i < 25; i += 1) {
      await p.mouse.wheel(0, -60);
      await p.waitForTimeout(16);
    }
    await p.mouse.down();
    for (let i = 0; i < 50; i += 1) {
      await p.mouse.move(box.x + 310 + 8 * i, box.y + 210 + 4 * i);
      await p.waitForTimeout(10);
    }
    await p.mouse.up();
    for (let i = 0; i < 25; i += 1) {
      await p.mouse.wheel(0, 60);
      await p.waitForTimeout(16);
    }
    await p.waitForTimeout(400);
    const [spent, apart] = await p.evaluate(() => [window.spent, window.apart]);
    const mean = (all) => all.reduce((a, b) => a + b, 0) / all.length;
    console.log(`  ${mean(spent).toFixed(1)} ms of script a frame, frames ${mean(apart).toFixed(1)} ms apart, ${spent.length} frames`);
    assert.ok(spent.length > 60 && mean(spent) <= 16, `${mean(spent)} ms a frame`);
    await server.stop();
  },

  async "the pages that are shared"() {
    const scale = ["--scale", "20", "--report", "REPORT"];
    const [a, b] = [photos("new"), photos("worn")];
    const pages = {
      measured: report("measured", ["measure", a[0], ...scale]),
      compared: report("compared", ["compare", `new=${a.join(",")}`, `worn=${b.join(",")}`, ...scale]),
      sieved: report("sieved", ["sieve", `new=${a.join(",")}`, "--retained", "400=6", "--receiver", "4", ...scale]),
      study: report("study", ["study", benchStudy(), "--report", "REPORT"]),
    };
    for (const [name, address] of Object.entries(pages)) {
      for (const [size, options] of [["wide", {}], ["phone", phone], ["dark", { colorScheme: "dark" }]]) {
        const p = await page(address, options);
        if (name === "measured") await p.locator("[data-shown]").waitFor();
        await wholeSeen(p, `${name}-${size}`);
        await accessible(p, `the page ${name}, ${size}`);
        await isNarrowEnough(p, `the page ${name}, ${size}`);
      }
    }
    // The photo answers to the keys, and the data come out as they went in.
    const p = await page(pages.measured);
    await p.locator("[data-shown]").waitFor();
    await p.locator("canvas.grain-canvas").focus();
    await p.keyboard.press("n");
    assert.match(await p.locator(".grain-spoken").innerText(), /µm.*1 of \d+ by size/);
    const [file] = await Promise.all([p.waitForEvent("download"), p.getByText("measurement.json").click()]);
    assert.equal(JSON.parse(readFileSync(await file.path(), "utf8")).schema, "lightsieve/measurement/1");
    const [rows] = await Promise.all([p.waitForEvent("download"), p.getByText("particles.csv").click()]);
    assert.match(readFileSync(await rows.path(), "utf8"), /^photo,x_px,y_px,ecd_um/);
  },
};

let failed = 0;
for (const [name, way] of Object.entries(ways)) {
  const began = Date.now();
  try {
    await way(await freePort());
    assert.deepEqual(faults, []);
    console.log(`ok: ${name} (${((Date.now() - began) / 1000).toFixed(1)} s)`);
  } catch (error) {
    failed += 1;
    console.log(`FAILED: ${name}\n${error.stack}\n${faults.join("\n")}`);
    await lastSeen(`failed-${failed}`);
  }
  await cleared();
}
await close();
process.exit(failed ? 1 : 0);
