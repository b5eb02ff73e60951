// Plan: a question answered while one looks, on a phone and a desk, with and without JavaScript, and let go when left.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { open, shot, sideways, sizes, start } from "./start.mjs";

let browser;
before(async () => {
  browser = await start();
});
after(() => browser?.close());

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
  await page.locator("input[name=cows]").fill("100-140/10");
  await page.locator("input[name=other-boxes]").fill("3");
  const taken = await page.evaluate(() => new Promise((told) => {
    const begun = performance.now();
    const answer = document.querySelector("#answer");
    answer.replaceChildren();
    new MutationObserver((_, watch) => {
      if (!answer.querySelector("dl.counts dd")) return;
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

test("a plan can be stopped, and what cannot be is said", async () => {
  const { page, complaints, close } = await open(browser, "/plan");
  await page.locator("input[name=cows]").fill("100-1200/10");
  await page.locator("input[name=boxes]").fill("12");
  await page.getByRole("button", { name: "Reckon it" }).click();
  await page.getByRole("button", { name: "Stop" }).click();
  assert.ok(await page.locator("#stop").isHidden());
  await page.locator("input[name=cows]").fill("many");
  await page.getByRole("button", { name: "Reckon it" }).click();
  await page.getByText("is no herd size").waitFor();
  assert.deepEqual(complaints, []);
  await close();
});

test("phone and desk, light and dark: nothing runs out at the side, and no rule of access is broken", async () => {
  for (const colorScheme of ["light", "dark"]) {
    for (const [name, viewport] of Object.entries(sizes)) {
      const { page, complaints, close } = await open(browser, "/plan", { viewport, colorScheme });
      await page.locator("input[name=other-boxes]").fill("3");
      await page.getByRole("button", { name: "Reckon it" }).click();
      await page.getByText("replicates of 60 days").waitFor({ timeout: 60000 });
      assert.equal(await sideways(page), 0);
      for (const one of await page.locator("form#plan input:visible, form#plan button:visible").all()) {
        const box = await one.boundingBox();
        assert.ok(43.5 <= box.height, `${box.height}`);
      }
      await shot(page, `plan-${name}-${colorScheme}`, { fullPage: true });
      assert.deepEqual(complaints, []);
      await close();
    }
  }
});
