// From an empty farm to the first round by files alone; Records; a row mended. On farms of their own, which are changed.
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createServer } from "node:http";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { after, before, test } from "node:test";
import { axe, leads, open, pdf, shot, sideways, sizes, start } from "./start.mjs";

const program = process.env.COWPATH_PROGRAM ?? "target/debug/cowpath";
const now = "2026-03-03T12:00:00Z";
const header = "animal,box,started_at,ended_at,outcome,milk_kg";
const row = (animal, hour, milk) => `${animal},1,2026-03-01T${hour}:00:00Z,2026-03-01T${hour}:07:00Z,milked,${milk}`;

let browser, work, logs;
const served = [];
before(async () => {
  browser = await start();
  work = mkdtempSync(join(tmpdir(), "cowpath-browser-"));
  const demo = join(work, "demo");
  execFileSync(program, ["--farm", demo, "--now", now, "demo", "--no-serve", "--cows", "14", "--boxes", "1", "--days", "24"]);
  logs = ["visits", "animals", "events"].map((table) => join(demo, "logs", `${table}.csv`));
});
after(async () => {
  for (const child of served) child.kill();
  await browser?.close();
  rmSync(work, { recursive: true, force: true });
});

// A farm of its own, still empty, served at the address that comes back.
async function farm(...words) {
  const folder = mkdtempSync(join(work, "farm-"));
  execFileSync(program, ["--farm", folder, "settings", "--zone", "America/New_York", "--name", "Reed End"]);
  const child = spawn(program, ["--farm", folder, "--now", now, "serve", "--listen", "127.0.0.1:0", ...words]);
  served.push(child);
  for await (const line of createInterface({ input: child.stdout })) return { at: line.replace(/\/$/, ""), folder };
}

const bring = async (at, name, text) => {
  const form = new FormData();
  form.append("file", new Blob([text]), name);
  const response = await fetch(`${at}/api/files`, { method: "POST", body: form });
  return [response.status, await response.json()];
};

for (const javaScriptEnabled of [true, false]) {
  const how = javaScriptEnabled ? "with JavaScript" : "without JavaScript";

  test(`from an empty farm to the first round by choosing files, ${how}`, async () => {
    const { at } = await farm();
    const { page, complaints, close } = await open(browser, "/", { at, javaScriptEnabled });
    assert.ok(await page.getByText("Nothing has been read yet.").isVisible());
    await shot(page, `empty-round-${javaScriptEnabled ? "script" : "plain"}`, { fullPage: true });
    await page.getByLabel("Logs of your boxes").setInputFiles(logs);
    await page.getByRole("button", { name: "Read these files" }).click();
    await page.getByRole("heading", { name: "What came of the files" }).waitFor();
    assert.equal(await page.locator(".came > li").count(), 3);
    assert.match(await page.locator(".came").textContent(), /visits\.csv visits\s+[\d,]+ read = [\d,]+ new \+ 0 same/);
    assert.deepEqual(await axeIf(javaScriptEnabled, page), []);
    await shot(page, `taken-${javaScriptEnabled ? "script" : "plain"}`, { fullPage: true });
    await page.getByRole("link", { name: "To the round" }).click();
    assert.equal(await page.getByText("Nothing has been read yet.").count(), 0);
    assert.match(await page.locator("main").textContent(), /Logs read up to/);
    await shot(page, `first-round-${javaScriptEnabled ? "script" : "plain"}`);
    await page.getByRole("link", { name: "Records" }).click();
    assert.match(await page.locator(".came").textContent(), /dropped on a page/);
    assert.deepEqual(complaints, []);
    await close();
  });

  test(`a row is mended in place, ${how}`, async () => {
    const { at } = await farm();
    await bring(at, "visits.csv", [header, row(214, "04", "11.2"), row(214, "12", "-3"), row(215, "05", "eleven")].join("\n"));
    const { page, close } = await open(browser, "/records", { at, javaScriptEnabled });
    await page.getByRole("link", { name: "See and mend them" }).click();
    assert.equal(await page.locator(".held > li").count(), 2);
    await page.getByRole("link", { name: /Mend this row.*line 3 of visits.csv/ }).click();
    const milk = page.getByLabel("milk_kg");
    assert.equal(await milk.inputValue(), "-3");
    await milk.fill("99");
    await page.getByRole("button", { name: "Take this row in" }).click();
    assert.match(await page.locator(".caution").textContent(), /still cannot be used.*outside 0 to 60 kg/s);
    assert.equal(await milk.inputValue(), "99", "what was typed is still there");
    assert.deepEqual(await axeIf(javaScriptEnabled, page), []);
    await shot(page, `entry-still-${javaScriptEnabled ? "script" : "plain"}`, { fullPage: true });
    await milk.fill("10.5");
    await page.getByRole("button", { name: "Take this row in" }).click();
    await page.getByText("The row is mended and taken in.").waitFor();
    assert.equal(await page.locator(".held > li").count(), 1);
    const kept = await (await fetch(`${at}/api/cow/214`)).json();
    assert.match(JSON.stringify(kept.rows), /10\.5/);
    await close();
  });
}

async function axeIf(scripts, page) {
  return scripts ? await axe(page) : [];
}

test("files may be dropped anywhere on the page, and too much is told before it is sent", async () => {
  const { at } = await farm();
  const { page, close } = await open(browser, "/records", { at });
  await page.evaluate((text) => {
    const carried = new DataTransfer();
    carried.items.add(new File([text], "dropped.csv"));
    document.body.dispatchEvent(new DragEvent("dragover", { dataTransfer: carried, bubbles: true, cancelable: true }));
    document.body.dispatchEvent(new DragEvent("drop", { dataTransfer: carried, bubbles: true, cancelable: true }));
  }, [header, row(214, "04", "11.2"), ""].join("\n"));
  assert.equal(await page.locator("#files").evaluate((one) => one.files[0].name), "dropped.csv");
  await page.locator("form.drop").evaluate((form) => { form.dataset.most = "10"; });
  await page.getByRole("button", { name: "Read these files" }).click();
  await page.getByText("too large together").waitFor();
  await page.locator("form.drop").evaluate((form) => { form.dataset.most = "100000"; });
  await page.getByRole("button", { name: "Read these files" }).click();
  await page.getByText("1 read = 1 new").waitFor();
  await page.goBack();
  assert.ok(await page.getByRole("button", { name: "Read these files" }).isEnabled(), "it can be used again");
  await close();
});

test("by the keys alone: from Records to a mended row, and the settings", async () => {
  const { at } = await farm();
  await bring(at, "visits.csv", [header, row(214, "04", "-1"), ""].join("\n"));
  const { page, close } = await open(browser, "/records", { at, viewport: sizes.desk });
  const reach = async (wanted) => {
    for (let presses = 0; presses < 80; presses += 1) {
      await page.keyboard.press("Tab");
      if (await page.locator(`${wanted}:focus`).count()) {
        assert.notEqual(await page.locator(wanted).evaluate((one) => getComputedStyle(one).outlineStyle), "none", wanted);
        return;
      }
    }
    assert.fail(`Tab does not reach ${wanted}`);
  };
  await reach("a[href='/records/quarantine']");
  await leads(page, /quarantine$/, () => page.keyboard.press("Enter"));
  await reach(".held .way");
  await leads(page, /quarantine\/\d+$/, () => page.keyboard.press("Enter"));
  // The cell to look at first has the focus already.
  assert.ok(await page.locator("#cell-5:focus").count());
  await page.keyboard.press("ControlOrMeta+a");
  await page.keyboard.type("9.5");
  await leads(page, /done=mended/, () => page.keyboard.press("Enter"));
  await page.goto(`${at}/records`);
  await reach("#settings > summary");
  await page.keyboard.press("Enter");
  await reach("#name");
  await page.keyboard.press("ControlOrMeta+a");
  await page.keyboard.type("Hollow");
  await leads(page, /done=settings/, () => page.keyboard.press("Enter"));
  assert.equal(await page.locator("#name").inputValue(), "Hollow");
  await close();
});

test("a page of another site changes nothing here", async () => {
  const { at } = await farm();
  const other = createServer((_, answer) => {
    answer.setHeader("content-type", "text/html");
    answer.end(`<form action="${at}/records/settings" method="post"><input name="name" value="taken"><button>x</button></form>`);
  });
  await new Promise((listening) => other.listen(0, "127.0.0.1", listening));
  const context = await browser.newContext();
  const page = await context.newPage();
  await page.goto(`http://127.0.0.1:${other.address().port}/`);
  const [response] = await Promise.all([page.waitForResponse((one) => one.url().includes("/records/settings")), page.getByRole("button").click()]);
  assert.equal(response.status(), 403);
  assert.equal((await (await fetch(`${at}/api/records`)).json()).settings.name, "Reed End");
  await context.close();
  other.close();
});

test("every page of Records: phone and desk, light and dark, by thumb, on paper", async (t) => {
  const folder = mkdtempSync(join(work, "inbox-"));
  const { at } = await farm("--inbox", folder);
  const empty = [["round-empty", "/"], ["records-empty", "/records"], ["quarantine-empty", "/records/quarantine"]];
  const look = async (pages) => {
    for (const [name, path] of pages) {
      for (const size of ["phone", "desk"]) {
        for (const colorScheme of ["light", "dark"]) {
          const { page, complaints, close } = await open(browser, path, { at, viewport: sizes[size], colorScheme });
          await shot(page, `${name}-${size}-${colorScheme}`, { fullPage: true });
          await page.locator("main details").evaluateAll((all) => all.forEach((one) => { one.open = true; }));
          assert.equal(await sideways(page), 0, `${name}, ${size}`);
          assert.deepEqual(await axe(page), [], `${name}, ${size}, ${colorScheme}`);
          if (colorScheme === "light") await shot(page, `${name}-${size}-unfolded`, { fullPage: true });
          assert.deepEqual(complaints, [], name);
          await close();
        }
      }
      const { page, close } = await open(browser, path, { at, viewport: { width: 320, height: 640 }, hasTouch: true, isMobile: true });
      assert.equal(await sideways(page), 0, `${name}, 320 px`);
      await page.locator("main details").evaluateAll((all) => all.forEach((one) => { one.open = true; }));
      const small = await page.evaluate(() => [...document.querySelectorAll("a[href], button, input, select, summary")]
        .filter((one) => !one.matches(".skip, [type=hidden]") && one.checkVisibility())
        .map((one) => [one.outerHTML.slice(0, 90), one.getBoundingClientRect()])
        .filter(([, place]) => place.width < 44 || place.height < 44)
        .map(([html, place]) => `${place.width}×${place.height} ${html}`));
      assert.deepEqual(small, [], name);
      await close();
    }
  };
  await look(empty);
  for (const file of logs) await bring(at, file.split("/").pop(), readFileSync(file));
  const wrong = Array.from({ length: 120 }, (_, n) => row(300 + n, "04", `-${n + 1}`));
  await bring(at, "visits of a box with a very long name, copied twice.csv", [`${header},colour`, ...wrong.map((one) => `${one},red`), ""].join("\n"));
  await bring(at, "odd.csv", "colour;size\nred;3\n");
  writeFileSync(join(folder, "more.csv"), `${header}\n${row(216, "05", "12.1")}\n`);
  for (let tries = 0; tries < 100; tries += 1) {
    const records = await (await fetch(`${at}/api/records`)).json();
    if (records.files[0].way === "inbox") break;
    await new Promise((waited) => setTimeout(waited, 100));
  }
  const entry = (await (await fetch(`${at}/api/quarantine`)).json()).rows[0].entry;
  await look([["records", "/records"], ["quarantine", "/records/quarantine"], ["quarantine-last", "/records/quarantine?skip=100"], ["entry", `/records/quarantine/${entry}`]]);
  for (const path of ["/records", "/records/quarantine"]) {
    const { page, close } = await open(browser, path, { at, viewport: sizes.desk });
    const file = await pdf(page, path.split("/").pop(), "A4");
    assert.ok((file.toString("latin1").match(/\/Type\s*\/Page\b/g)?.length ?? 0) <= 14, path);
    await page.emulateMedia({ media: "print" });
    await page.setViewportSize({ width: 688, height: 1000 });
    assert.equal(await sideways(page), 0, "nothing is cut off");
    assert.ok(!await page.locator("nav.pages").isVisible());
    assert.ok(await page.locator(".came > li, .held > li").first().isVisible());
    await shot(page, `${path.split("/").pop()}-print`, { fullPage: true });
    await close();
  }
  t.diagnostic(`pages at ${at}`);
});
