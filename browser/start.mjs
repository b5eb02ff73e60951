// Starts the system's Chromium and opens pages of the server at COWPATH_URL.
import { execFileSync } from "node:child_process";
import { mkdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { chromium } from "playwright-core";

const FLAGS = [
  "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
  "--disable-background-networking", "--disable-component-update", "--disable-sync",
];
const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

export const base = (process.env.COWPATH_URL ?? "").replace(/\/+$/, "");
if (!base) throw new Error("COWPATH_URL is not set: start `cowpath serve` and give the address it prints");

export const sizes = { phone: { width: 360, height: 740 }, desk: { width: 1280, height: 900 } };

const pictures = process.env.COWPATH_PICTURES;
if (pictures) mkdirSync(pictures, { recursive: true });

function system() {
  for (const name of ["chromium", "chromium-browser", "google-chrome"]) {
    try {
      return execFileSync("which", [name], { encoding: "utf8" }).trim();
    } catch { /* Not under this name. */ }
  }
  throw new Error("no Chromium found: install it with the system's package manager");
}

export const start = () => chromium.launch({ executablePath: system(), args: FLAGS });

// A page of the farm served at `at`, with what it complained of and what it asked of others.
export async function open(browser, path, { at = base, ...options } = {}) {
  const context = await browser.newContext({ viewport: sizes.phone, ...options });
  const page = await context.newPage();
  const complaints = [];
  page.on("console", (message) => message.type() === "error" && complaints.push(message.text()));
  page.on("pageerror", (error) => complaints.push(String(error)));
  const url = path.startsWith("http") ? path : at + path;
  const own = new URL(url).origin;
  page.on("request", (request) => new URL(request.url()).origin === own || complaints.push(`asked ${request.url()}`));
  const response = await page.goto(url);
  return { page, complaints, response, close: () => context.close() };
}

// Does what leads to another page, and waits until that page is loaded: its address is not the one before, and is as
// said. An address alone may be that of the page one is still on: then nothing is waited for, and a context that is
// closed in the midst of going to another page is one that Chromium may never say is closed.
export async function leads(page, where, deed) {
  const before = page.url();
  await Promise.all([page.waitForURL((url) => url.href !== before && where.test(url.href)), deed()]);
}

export async function shot(page, name, options = {}) {
  if (pictures) await page.screenshot({ path: join(pictures, `${name}.png`), ...options });
}

export const pdf = (page, name, format) =>
  page.pdf({ format, preferCSSPageSize: false, ...(pictures ? { path: join(pictures, `${name}-${format}.pdf`) } : {}) });

// What axe finds, one line a finding.
export async function axe(page) {
  await page.evaluate(AXE);
  const found = await page.evaluate(() => window.axe.run(document, {
    runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
  }));
  return found.violations.map((one) =>
    `${one.id}: ${one.help}\n  ${one.nodes.slice(0, 3).map((node) => `${node.html.slice(0, 160)} ${node.failureSummary}`).join("\n  ")}`);
}

export const sideways = (page) =>
  page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);

// The path of a cow's page: the first call's cow, else the first of the herd, else none.
export async function aCow(browser) {
  for (const [from, link] of [["/round", ".call .open a[href^='/cow']"], ["/herd", ".herd a"]]) {
    const { page, close } = await open(browser, from);
    const first = page.locator(link).first();
    const path = (await first.count()) ? await first.getAttribute("href") : null;
    await close();
    if (path) return path;
  }
  return null;
}

// The path of a day of the boxes that is over, with a cow's visits marked: the day before the newest.
export async function aDay(browser) {
  const { page, close } = await open(browser, "/boxes");
  const before = page.locator("nav.spans a[rel=prev]");
  const path = (await before.count()) ? await before.getAttribute("href") : "/boxes";
  await page.goto(base + path);
  const visit = page.locator(".twin td").first();
  const cow = (await visit.count()) ? (await visit.textContent()).split(":")[0] : "1";
  await close();
  return `${path}${path.includes("?") ? "&" : "?"}animal=${encodeURIComponent(cow)}`;
}
