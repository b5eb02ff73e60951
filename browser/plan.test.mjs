// Plan: a question answered while one looks, on a phone and a desk, with and without JavaScript, and let go when left.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { axe, base, leads, open, pdf, shot, sideways, sizes, start } from "./start.mjs";

let browser;
before(async () => {
  browser = await start();
});
after(() => browser?.close());

const done = (page) => page.locator("#answer .state", { hasText: /Sure enough after|the intervals say/ }).waitFor({ timeout: 60000 });
// What a person reads as an interval.
const interval = /\((?:[+−]?[\d,.]+) to (?:[+−]?[\d,.]+)\)/;

test("how many more cows is answered in words with an interval, in kilograms and money, before anything is asked", async () => {
  const { page, complaints, close } = await open(browser, "/plan");
  await done(page);
  const first = await page.locator("#answer .large").textContent();
  assert.match(first, /^\d+\sbox(?:es hold| holds) \d+\scows/);
  assert.match(first, /(more|fewer) than the \d+ now|as many as the \d+ now/);
  const brings = await page.locator("#answer p", { hasText: /cows instead of \d+:/ }).textContent();
  assert.match(brings, /kg \([^)]+\) of milk and [+−][\d,]+\sUSD \([^)]+\) a day/);
  assert.match(brings, interval);
  // What the money rests on is said where it stands, and leads to where it is set.
  const note = page.locator("#answer .note", { hasText: "Money:" });
  assert.match(await note.textContent(), /have no source/);
  await leads(page, /\/boxes\/intervals/, () => note.getByRole("link").click());
  assert.ok(await page.locator("form#terms input[name=milk]").isVisible());
  assert.deepEqual(complaints, []);
  await close();
});

for (const javaScriptEnabled of [true, false]) {
  test(`each question is one touch, ${javaScriptEnabled ? "with" : "without"} JavaScript`, async () => {
    const { page, complaints, close } = await open(browser, "/plan", { javaScriptEnabled });
    const names = await page.locator(".asks a").allTextContents();
    assert.equal(names.length, 10);
    for (const name of names) {
      const link = page.locator(".asks a", { hasText: name });
      if (javaScriptEnabled) await link.click();
      else await leads(page, /\/plan\?/, () => link.click());
      if (javaScriptEnabled) await page.locator("#stop").waitFor({ state: "hidden", timeout: 60000 });
      await done(page);
      assert.equal(await page.locator(".asks a[aria-current]").textContent(), name);
      const told = await page.locator("#answer").textContent();
      assert.match(told, interval, name);
      assert.match(told, /kg \([^)]+\) of milk/, name);
      assert.match(told, /USD \([^)]+\)/, name);
      if (await page.locator("#answer polyline.second").count()) {
        assert.equal(await page.locator(".sides thead th").last().textContent(), "difference", name);
      }
    }
    assert.deepEqual(complaints, []);
    await close();
  });
}

test("without JavaScript the form gives an answer at once", async () => {
  const { page, close } = await open(browser, "/plan", { javaScriptEnabled: false });
  assert.ok(await page.locator("nav.pages a[aria-current=page]", { hasText: "Plan" }).isVisible());
  await page.locator("input[name=other-boxes]").fill("3");
  await page.getByRole("button", { name: "Reckon it" }).click();
  assert.match(await page.locator("#answer .large").textContent(), /hold|idle/);
  assert.ok(await page.locator("#answer svg polyline.second").isVisible());
  assert.equal(await page.locator("input[name=other-boxes]").inputValue(), "3");
  await page.locator("input[name=boxes]").fill("0");
  await page.getByRole("button", { name: "Reckon it" }).click();
  assert.ok(await page.getByText("there is no box to milk in").isVisible());
  await close();
});

test("the first figure is there within 300 ms, and the answer fills", async () => {
  const { page, complaints, close } = await open(browser, "/plan");
  await page.getByText("Sure enough after").waitFor({ timeout: 60000 });
  // The capacity plan: 31 herd sizes of 60 days.
  await page.locator("input[name=cows]").fill("60-180/4");
  await page.locator("input[name=other-boxes]").fill("3");
  const taken = await page.evaluate(() => new Promise((told) => {
    const begun = performance.now();
    const answer = document.querySelector("#answer");
    answer.replaceChildren();
    new MutationObserver((_, watch) => {
      if (!answer.querySelector(".sides td")) return;
      watch.disconnect();
      told(performance.now() - begun);
    }).observe(answer, { childList: true });
    document.querySelector("form#plan").requestSubmit();
  }));
  console.log(`first figure after ${Math.round(taken)} ms`);
  assert.ok(taken < 300, `${taken} ms`);
  await page.getByText("replicates of 60 days").waitFor({ timeout: 60000 });
  assert.match(await page.locator("#answer").textContent(), /instead 3\sboxes/);
  assert.ok(page.url().includes("other-boxes=3"), "the address can be kept");
  assert.ok(await page.locator("#stop").isHidden());
  assert.deepEqual(complaints, []);
  await close();
});

test("a plan can be stopped, is not reckoned on, and what cannot be is said", async () => {
  const { page, complaints, close } = await open(browser, "/plan");
  await page.locator("input[name=cows]").fill("100-1200/10");
  await page.locator("input[name=boxes]").fill("12");
  await page.getByRole("button", { name: "Reckon it" }).click();
  await page.getByRole("button", { name: "Stop" }).click();
  assert.ok(await page.locator("#stop").isHidden());
  assert.match(await page.locator("#answer").textContent(), /Stopped/);
  // The line is free at once: another plan, which would wait behind one that runs on for minutes, is answered.
  const begun = Date.now();
  const next = await fetch(`${base}/api/plan?cows=60&boxes=1`);
  assert.equal(next.status, 200);
  assert.ok(Date.now() - begun < 5000, `${Date.now() - begun} ms`);
  await page.locator("input[name=cows]").fill("many");
  await page.getByRole("button", { name: "Reckon it" }).click();
  await page.getByText("is no herd size").waitFor();
  assert.deepEqual(complaints, []);
  await close();
});

test("a page that is left lets its plan go", async () => {
  const { page, close } = await open(browser, "/plan");
  await page.locator("input[name=cows]").fill("100-1200/10");
  await page.locator("input[name=boxes]").fill("12");
  await page.getByRole("button", { name: "Reckon it" }).click();
  await page.getByRole("button", { name: "Stop" }).waitFor();
  await page.goto(`${base}/herd`);
  assert.equal((await fetch(`${base}/api/plan?cows=60&boxes=1`)).status, 200);
  await close();
});

test("twenty plans at once keep no page waiting", async () => {
  const letGo = new AbortController();
  const plans = Array.from({ length: 20 }, () => fetch(`${base}/plan/events?cows=100-1200/10&boxes=12`, { signal: letGo.signal }));
  assert.ok((await Promise.all(plans)).every((answer) => answer.status === 200));
  let slowest = 0;
  for (const path of ["/round", "/herd", "/boxes", "/boxes/minutes", "/boxes/intervals", "/plan"]) {
    const begun = Date.now();
    assert.equal((await fetch(base + path)).status, 200);
    slowest = Math.max(slowest, Date.now() - begun);
  }
  console.log(`slowest page beside twenty plans: ${slowest} ms`);
  letGo.abort();
  assert.ok(slowest < 2000, `${slowest} ms`);
  // All of them are gone: the next is answered.
  assert.equal((await fetch(`${base}/api/plan?cows=60&boxes=1`)).status, 200);
});

test("by keyboard alone: to a question, its answer, the figures", async () => {
  const { page, complaints, close } = await open(browser, "/plan", { viewport: sizes.desk });
  await done(page);
  const focused = () => page.evaluate(() => document.activeElement.textContent.trim());
  const tabTo = async (words) => {
    for (let count = 0; count < 80; count += 1) {
      await page.keyboard.press("Tab");
      if ((await focused()) === words) return;
    }
    assert.fail(`${words} is not reached by Tab`);
  };
  await tabTo("Every herd size in figures");
  await page.keyboard.press("Enter");
  assert.ok(await page.getByRole("region", { name: "Every herd size in figures" }).isVisible());
  await tabTo("One more box");
  await page.keyboard.press("Enter");
  await page.locator("#stop").waitFor({ state: "hidden", timeout: 60000 });
  assert.match(await page.locator("#answer").textContent(), /more than as asked/);
  await tabTo("Reckon it");
  await page.keyboard.press("Enter");
  await done(page);
  assert.deepEqual(complaints, []);
  await close();
});

test("phone and desk, light and dark: nothing runs out at the side, and no rule of access is broken", async () => {
  for (const colorScheme of ["light", "dark"]) {
    for (const [name, viewport] of Object.entries(sizes)) {
      const { page, complaints, close } = await open(browser, "/plan", { viewport, colorScheme });
      await page.locator(".asks a", { hasText: "One more box" }).click();
      await page.locator("#stop").waitFor({ state: "hidden", timeout: 60000 });
      await done(page);
      for (const fold of await page.locator("details.fold > summary").all()) await fold.click();
      assert.equal(await sideways(page), 0);
      assert.deepEqual(await axe(page), [], `${name}, ${colorScheme}`);
      for (const one of await page.locator("form#plan input:visible, form#plan button:visible, .asks a:visible, .toask:visible, summary:visible").all()) {
        const box = await one.boundingBox();
        assert.ok(43.5 <= box.height, `${await one.textContent()}: ${box.height}`);
      }
      await shot(page, `plan-${name}-${colorScheme}`, { fullPage: true });
      assert.deepEqual(complaints, []);
      await close();
    }
  }
});

test("printed: the answer without the form, on A4 and Letter", async () => {
  const { page, close } = await open(browser, "/plan", { viewport: sizes.desk });
  await done(page);
  for (const format of ["A4", "Letter"]) {
    const bytes = await pdf(page, "plan", format);
    assert.ok(10_000 < bytes.length);
    // Two sheets: what is folded away stays so, and nothing begins a third.
    const sheets = bytes.toString("latin1").match(/\/Type\s*\/Page\b/g)?.length ?? 0;
    assert.ok(1 <= sheets && sheets <= 2, `${format}: ${sheets} sheets`);
  }
  await page.emulateMedia({ media: "print" });
  assert.ok(await page.locator("form#plan").isHidden());
  assert.ok(await page.locator("#answer .large").isVisible());
  await close();
});
