// A server in a fresh folder and a page in a real browser, for the ways of run.mjs.
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { cpSync, mkdtempSync, readFileSync, readdirSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import net from "node:net";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const { LIGHTSIEVE, LIGHTSIEVE_CHROMIUM, LIGHTSIEVE_PHOTOS, LIGHTSIEVE_SCREENSHOTS } = process.env;
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
export const photos = (name) => readdirSync(LIGHTSIEVE_PHOTOS).filter((f) => f.startsWith(name)).sort().map((f) => join(LIGHTSIEVE_PHOTOS, f));
export const bad = photos("<b>").concat(photos("note"))[0];
const work = mkdtempSync(join(tmpdir(), "lightsieve-browser-"));

export const freePort = () =>
  new Promise((done) => {
    const server = net.createServer().listen(0, "127.0.0.1", () => {
      const { port } = server.address();
      server.close(() => done(port));
    });
  });

// A page that the command line writes, as an address; REPORT in `line` is its file.
export function report(name, line) {
  const file = join(work, `${name}.html`);
  execFileSync(LIGHTSIEVE, line.map((part) => (part === "REPORT" ? file : part)), { stdio: ["ignore", "ignore", "inherit"], cwd: work });
  return pathToFileURL(file).href;
}

// The invented study, where its cache may lie beside it.
export function benchStudy() {
  const from = join(dirname(fileURLToPath(import.meta.url)), "../../demo-images/bench-study");
  cpSync(from, join(work, "bench-study"), { recursive: true });
  return join(work, "bench-study", "study.toml");
}

export async function serve(folder, port, more = []) {
  const child = spawn(LIGHTSIEVE, ["serve", "--port", String(port), "--folder", join(work, folder), ...more], { stdio: ["ignore", "pipe", "inherit"] });
  await new Promise((done, fail) => {
    child.stdout.once("data", done);
    child.once("exit", (status) => fail(new Error(`the server ended with ${status}`)));
  });
  const stop = () =>
    new Promise((done) => {
      child.removeAllListeners("exit");
      if (child.exitCode !== null || child.signalCode !== null) return done();
      child.once("exit", done);
      child.kill("SIGKILL");
      return undefined;
    });
  servers.push(stop);
  return { address: `http://127.0.0.1:${port}/`, stop };
}

const browser = await chromium.launch({
  executablePath: LIGHTSIEVE_CHROMIUM,
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});
const open = [];
const servers = [];
export const faults = [];

export async function page(address, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, acceptDownloads: true, ...options });
  context.setDefaultTimeout(15000);
  const made = await context.newPage();
  const own = new URL(address).host;
  made.on("pageerror", (error) => faults.push(`script: ${error.message}`));
  made.on("console", (message) => {
    const text = message.text();
    // Requests that are refused on purpose, and a server that was stopped on purpose, are no faults of the page.
    if (message.type() === "error" && !/status of (4|5)\d\d|ERR_CONNECTION|ERR_INCOMPLETE|ERR_EMPTY/.test(text)) faults.push(`console: ${text}`);
  });
  made.on("request", (request) => {
    const url = new URL(request.url());
    if (["http:", "https:"].includes(url.protocol) && url.host !== own) faults.push(`a request to ${url.host}`);
  });
  made.on("dialog", (dialog) => {
    faults.push(`a dialog: ${dialog.message()}`);
    dialog.dismiss();
  });
  open.push(context);
  await made.goto(address);
  return made;
}

export const phone = { viewport: { width: 390, height: 844 }, isMobile: true, hasTouch: true };
export const picture = (name) => join(LIGHTSIEVE_SCREENSHOTS, `${name}.png`);
export const seen = (of, name) => of.screenshot({ path: picture(name) });
export const wholeSeen = (of, name) => of.screenshot({ path: picture(name), fullPage: true });
export const ready = (of) => of.waitForSelector("body[data-ready]");
export const d50 = (of, tray = 0) => of.locator(".tray").nth(tray).locator(".figure strong").first().innerText({ timeout: 20000 });
export const verdict = (of) => of.locator("#verdict .verdict").first().innerText({ timeout: 20000 });

export async function accessible(of, what) {
  await of.evaluate(axe);
  const found = await of.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
  const serious = found.violations.filter((v) => ["serious", "critical"].includes(v.impact));
  const told = serious.map((v) => `${v.id}: ${v.nodes.map((n) => n.target.join(" ")).join(", ")}`);
  assert.deepEqual(told, [], `accessibility of ${what}`);
}

export async function isNarrowEnough(of, what) {
  const [needs, has] = await of.evaluate(() => [document.documentElement.scrollWidth, innerWidth]);
  assert.ok(needs <= has, `${what} needs ${needs} px of ${has}`);
}

export async function lastSeen(name) {
  for (const context of open) for (const p of context.pages()) await seen(p, name).catch(() => {});
}

// Ends what a way left behind.
export async function cleared() {
  faults.length = 0;
  for (const context of open.splice(0)) await context.close();
  for (const stop of servers.splice(0)) await stop();
}

export async function close() {
  await browser.close();
  rmSync(work, { recursive: true, force: true });
}
