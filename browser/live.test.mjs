// New rows while a page is open: the round changes by itself where nobody reads, and moves nothing where somebody does.
// It serves a demo farm of its own by the program at COWPATH_PROGRAM, and reads files into it as another process.
import assert from "node:assert/strict";
import { execFile, spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { promisify } from "node:util";
import { after, before, test } from "node:test";
import { axe, open, shot, sizes, start } from "./start.mjs";

const program = process.env.COWPATH_PROGRAM;
const skip = program ? false : "COWPATH_PROGRAM is not set: the path of the program that serves the pages";
const run = promisify(execFile);
let browser, folder, server, farm, base, later = 0;

before(async () => {
  if (skip) return;
  browser = await start();
  folder = mkdtempSync(join(tmpdir(), "cowpath-"));
  farm = join(folder, "live.farm");
  await run(program, ["--farm", farm, "demo", "--no-serve"]);
  server = spawn(program, ["--farm", farm, "serve", "--listen", "127.0.0.1:0"], { stdio: ["ignore", "pipe", "inherit"] });
  const [line] = await new Promise((resolve) => {
    createInterface(server.stdout).once("line", (first) => resolve([first]));
  });
  base = line.trim().replace(/\/$/, "");
});
after(async () => {
  await browser?.close();
  server?.kill("SIGKILL");
  if (folder) rmSync(folder, { recursive: true });
});

// One more visit, later than all before: of the cow of the log's last row, some minutes on.
async function oneMoreVisit() {
  const lines = readFileSync(join(farm, "logs", "visits.csv"), "utf8").trim().split("\n");
  const [animal, box, , ended] = lines.at(-1).split(",");
  later += 1;
  const at = new Date(Date.parse(ended) + later * 20 * 60000), out = new Date(at.getTime() + 6 * 60000);
  const file = join(folder, `later${later}.csv`);
  writeFileSync(file, `animal,box,started_at,ended_at,outcome,milk_kg\n${animal},${box},${at.toISOString()},${out.toISOString()},milked,8.${later}\n`);
  await run(program, ["--farm", farm, "import", file]);
}
const mark = (page) => page.locator(".walk").getAttribute("data-mark");

test("where nothing is open the new round is set in place, and focus stays", { skip }, async () => {
  const { page, complaints, close } = await open(browser, `${base}/round`, { viewport: sizes.desk });
  const open_ = page.locator("details.call[open] > summary");
  if (await open_.count()) await open_.first().click();
  await page.evaluate(() => { document.activeElement.blur(); window.stayed = true; });
  const before = await mark(page), said = await page.locator(".summary").textContent();
  const fold = page.locator("details.call > summary").first();
  await fold.focus();
  assert.equal(await page.evaluate(() => scrollY), 0);
  await oneMoreVisit();
  await page.waitForFunction((was) => document.querySelector(".walk").dataset.mark !== was, before, { timeout: 10000 });
  assert.ok(await page.evaluate(() => window.stayed), "the page itself stayed");
  assert.notEqual(await page.locator(".summary").textContent(), said, "it names the newest row");
  assert.equal(await fold.evaluate((one) => one === document.activeElement), true, "the focus stays");
  assert.equal(await page.locator("details[open]").count(), 0, "nothing opens by itself");
  assert.equal(await page.locator(".newer").count(), 0);
  await page.getByText("this is the new round").waitFor({ state: "attached" });
  // What was set in place works as what came with the page.
  const calls = page.locator("details.call");
  if (await calls.count()) {
    await calls.first().locator("> summary").click();
    assert.ok(await calls.first().locator(".open").isVisible());
  }
  assert.deepEqual(complaints, []);
  await close();
});

for (const [size, viewport] of Object.entries(sizes)) {
  test(`an open call does not move, and the page says that there is a newer round, ${size}`, { skip }, async (t) => {
    const { page, complaints, close } = await open(browser, `${base}/round`, { viewport });
    const calls = page.locator("details.call");
    if (!await calls.count()) return t.skip("the herd has no call");
    if (!await page.locator("details.call[open]").count()) await calls.first().locator("> summary").click();
    const field = page.locator("details.call[open] input[name=note]").first();
    if (await field.count()) {
      await page.locator("details.call[open] .found details > summary, details.call[open] details.fold > summary").last().click().catch(() => {});
      if (await field.isVisible()) await field.fill("half a word");
    }
    await page.evaluate(() => scrollTo(0, 40));
    const places = () => page.evaluate(() => [...document.querySelectorAll("summary, h2, svg.lanes, input")]
      .map((one) => { const at = one.getBoundingClientRect(); return `${at.x},${at.y},${at.width},${at.height}`; }));
    const before = await places(), was = await mark(page), focus = await page.evaluate(() => document.activeElement.outerHTML);
    await oneMoreVisit();
    await page.locator(".newer").waitFor({ timeout: 10000 });
    assert.deepEqual(await places(), before, "nothing moved");
    assert.equal(await page.evaluate(() => document.activeElement.outerHTML), focus);
    assert.equal(await mark(page), was, "the list is the one that is read");
    if (await field.count() && await field.isVisible()) assert.equal(await field.inputValue(), "half a word");
    assert.deepEqual(await axe(page), []);
    await shot(page, `round-newer-${size}`);
    await page.locator(".newer a").click();
    await page.waitForFunction((old) => document.querySelector(".walk")?.dataset.mark !== old, was);
    assert.equal(await page.locator(".newer").count(), 0);
    assert.deepEqual(complaints, []);
    await close();
  });
}

test("the other pages say it too, and an earlier round says nothing", { skip }, async () => {
  const boxes = await open(browser, `${base}/boxes`), herd = await open(browser, `${base}/herd`);
  const past = await open(browser, `${base}/round?at=2026-03-01`);
  await boxes.page.waitForTimeout(800);
  await oneMoreVisit();
  await boxes.page.locator(".newer").waitFor({ timeout: 10000 });
  await herd.page.locator(".newer").waitFor({ timeout: 10000 });
  assert.equal(await past.page.locator(".newer").count(), 0);
  const was = await boxes.page.locator(".summary").textContent();
  await boxes.page.locator(".newer a").click();
  await boxes.page.waitForFunction((old) => document.querySelector(".summary")?.textContent !== old, was);
  for (const one of [boxes, herd, past]) await one.close();
});

test("Ctrl-C ends the server at once, though pages listen", { skip }, async () => {
  const { page, close } = await open(browser, `${base}/round`);
  await page.waitForTimeout(500);
  const begun = Date.now();
  const ended = new Promise((resolve) => server.once("exit", resolve));
  server.kill("SIGINT");
  assert.equal(await ended, 0);
  assert.ok(Date.now() - begun < 3000, `${Date.now() - begun} ms`);
  await close();
});
