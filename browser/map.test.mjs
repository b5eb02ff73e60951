// A table of another form: dropped on the empty round, mapped by choosing, read. On farms of their own.
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { after, before, test } from "node:test";
import { axe, open, shot, sideways, sizes, start } from "./start.mjs";

const program = process.env.COWPATH_PROGRAM ?? "target/debug/cowpath";
const now = "2026-03-03T12:00:00Z";

let browser, work, file;
const served = [];
before(async () => {
  browser = await start();
  work = mkdtempSync(join(tmpdir(), "cowpath-map-"));
  const rows = Array.from({ length: 40 }, (_, n) => {
    const two = (figure) => String(figure).padStart(2, "0");
    const at = `${two(4 + Math.floor(n / 4))}:${two((n % 4) * 13)}`;
    const end = `${two(4 + Math.floor(n / 4))}:${two((n % 4) * 13 + 8)}`;
    const quarters = [2.9, 3.1, 3.4, 3.6].map((own) => (own + (n % 5) / 10).toFixed(2).replace(".", ","));
    return [120 + (n % 9), 1, "24.02.2026", at, end, ...quarters, `${9 + (n % 6)},${two(n)}`, n === 3 ? "kaputt" : "erfolgreich", "ab"].join(";");
  });
  file = join(work, "Melkungen 2026.csv");
  writeFileSync(file, ["Tier-Nr.;Melkplatz;Datum;Beginn;Ende;Menge VL;Menge VR;Menge HL;Menge HR;Qwert;Ergebnis;Bemerkung", ...rows, ""].join("\n"));
});
after(async () => {
  for (const child of served) child.kill();
  await browser?.close();
  rmSync(work, { recursive: true, force: true });
});

async function farm() {
  const folder = mkdtempSync(join(work, "farm-"));
  execFileSync(program, ["--farm", folder, "settings", "--zone", "Europe/Berlin", "--name", "Reed End"]);
  const child = spawn(program, ["--farm", folder, "--now", now, "serve", "--listen", "127.0.0.1:0"]);
  served.push(child);
  for await (const line of createInterface({ input: child.stdout })) return line.replace(/\/$/, "");
}

for (const [size, javaScriptEnabled] of [["phone", false], ["desk", true]]) {
  test(`an unknown table is mapped and read, ${size}, ${javaScriptEnabled ? "with" : "without"} JavaScript`, async () => {
    const at = await farm();
    const { page, complaints, close } = await open(browser, "/", { at, javaScriptEnabled, viewport: sizes[size] });
    const sound = async (name) => {
      assert.equal(await sideways(page), 0, name);
      await shot(page, `map-${name}-${size}`, { fullPage: true });
      if (javaScriptEnabled) assert.deepEqual(await axe(page), [], name);
    };
    await page.getByLabel("Logs of your boxes").setInputFiles(file);
    await page.getByRole("button", { name: "Read these files" }).click();
    await page.getByRole("heading", { name: "What came of the files" }).waitFor();
    await sound("taken");
    await page.getByRole("link", { name: /Say how it is to be read/ }).click();
    await page.getByRole("heading", { name: "How is this file to be read?" }).waitFor();
    await sound("proposed");
    assert.ok(await page.getByText("nothing fills", { exact: false }).count() === 0);

    // Two columns for one place: told, and what was chosen is still there.
    await page.getByLabel("Qwert", { exact: true }).selectOption("milk_kg");
    await page.getByLabel("Bemerkung", { exact: true }).selectOption("animal");
    await page.getByRole("button", { name: "Show ten rows with this" }).click();
    await page.getByRole("alert").waitFor();
    assert.match(await page.getByRole("alert").textContent(), /would become animal/);
    assert.equal(await page.getByLabel("Qwert", { exact: true }).inputValue(), "milk_kg");
    await sound("wrong");

    await page.getByLabel("Bemerkung", { exact: true }).selectOption("keep");
    await page.getByRole("button", { name: "Show ten rows with this" }).click();
    await page.getByRole("heading", { name: "10 rows read so" }).waitFor();
    assert.equal(await page.getByRole("alert").count(), 0);
    assert.ok(await page.getByRole("columnheader", { name: "milk_kg" }).count());
    await sound("tried");
    await page.getByLabel("Name of the map").fill("milk export");
    await page.getByRole("button", { name: "Keep this map and read the file" }).click();
    await page.getByText("40 read = ").waitFor();
    await sound("kept");
    await page.getByRole("link", { name: "To the round" }).click();
    assert.match(await page.locator("main").textContent(), /Logs read up to/);
    // The browser itself says of the pages with a fault that they have one.
    assert.deepEqual(complaints.filter((one) => !/status of 422/.test(one)), []);
    await close();
  });
}

test("on the smallest phone every choice is as large as a thumb, in the dark, and Records leads there", async () => {
  const at = await farm();
  const form = new FormData();
  form.append("file", new Blob(["aa;bb;cc\nx;214;2026-02-24\ny;215;2026-02-25\n"]), "odd <name>.csv");
  await fetch(`${at}/api/files`, { method: "POST", body: form });
  const { page, close } = await open(browser, "/records", { at, viewport: { width: 320, height: 640 }, hasTouch: true, isMobile: true, colorScheme: "dark" });
  assert.deepEqual(await axe(page), []);
  await page.getByRole("link", { name: /Say how it is to be read.*odd <name>.csv/ }).click();
  await page.getByText("Nothing fills animal").waitFor();
  await page.locator("main details").evaluateAll((all) => all.forEach((one) => { one.open = true; }));
  assert.equal(await sideways(page), 0);
  assert.deepEqual(await axe(page), []);
  const small = await page.evaluate(() => [...document.querySelectorAll("main :is(a[href], button, input, select, summary, textarea)")]
    .filter((one) => !one.matches("[type=hidden]") && one.checkVisibility())
    .map((one) => [one.outerHTML.slice(0, 90), one.getBoundingClientRect()])
    .filter(([, place]) => place.width < 44 || place.height < 44)
    .map(([html]) => html));
  assert.deepEqual(small, []);
  await shot(page, "map-by-hand-small-dark", { fullPage: true });
  await close();
});
