// What it costs: the newest list as it would be, before anything is kept; and the record, with a case told and taken back.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { axe, base, open, shot, sideways, sizes, start } from "./start.mjs";

let browser;
before(async () => { browser = await start(); });
after(() => browser?.close());

const json = async (path) => (await fetch(base + path)).json();
const looks = [["phone", "light"], ["phone", "dark"], ["desk", "light"], ["desk", "dark"]];

for (const javaScriptEnabled of [true, false]) {
  test(`costs are tried, kept and put back, ${javaScriptEnabled ? "with" : "without"} JavaScript`, async (t) => {
    const calls = (await json("/api/round")).calls.length;
    if (calls < 2) return t.skip("the round has fewer than two calls");
    const { page, complaints, close } = await open(browser, "/costs", { javaScriptEnabled });
    await page.getByLabel("Calls you can take in a day").fill("0");
    for (const cause of ["udder", "feet"]) {
      const row = page.locator("li", { has: page.locator(`[id="${cause}.look"]`) });
      await row.locator("summary").click();
      await row.locator(`[id="${cause}.look"]`).fill("900000");
    }
    await page.locator("#costs > .ways").getByRole("button", { name: "Show what would change" }).click();
    await page.getByText("Nothing is kept yet").waitFor();
    assert.ok(await page.getByRole("heading", { name: "Would go" }).count());
    assert.equal(await page.locator('[id="feet.look"]').inputValue(), "900000", "what was typed is still there");
    assert.equal((await json("/api/costs")).words.most_calls_a_day, undefined, "nothing is kept");
    assert.equal((await json("/api/round")).calls.length, calls);
    assert.equal(await sideways(page), 0);
    const gone = await page.locator("#change h3:has-text('Would go') + ul > li").count();
    await page.getByRole("button", { name: "Keep these costs" }).click();
    await page.getByText("Kept. The next round").waitFor();
    const urgent = (await json("/api/round")).calls;
    assert.ok(urgent.every((call) => call.urgency === "now"), "only what is for now is never cut");
    assert.ok(calls - gone <= urgent.length);
    await page.getByRole("button", { name: "All the stated figures again" }).click();
    await page.getByText("Kept. The next round").waitFor();
    assert.equal((await json("/api/round")).calls.length, calls);
    assert.deepEqual(complaints, []);
    await close();
  });
}

test("a figure that cannot be is said, and what was typed stays", async () => {
  const { page, close } = await open(browser, "/costs");
  await page.getByLabel("Being sent out at once").fill("a lot");
  await page.locator("#costs > .ways").getByRole("button", { name: "Keep" }).click();
  await page.getByRole("alert").waitFor();
  assert.match(await page.getByRole("alert").textContent(), /a lot is no figure/);
  assert.equal(await page.getByLabel("Being sent out at once").inputValue(), "a lot");
  assert.equal((await json("/api/costs")).words.errand, undefined);
  await close();
});

test("a case that no call named is told on Records and taken back", async () => {
  const round = await json("/api/round");
  const called = new Set(round.calls.map((call) => call.animal));
  const cow = (await json("/api/herd")).map((row) => row.animal).find((animal) => !called.has(animal));
  const { page, complaints, close } = await open(browser, "/records");
  await page.getByText("Tell of a case that no call named").click();
  await page.getByLabel("Cow", { exact: true }).fill(cow);
  await page.getByLabel("What she had").selectOption("feet");
  await page.getByLabel("Who tells it").fill("Ann");
  await page.getByRole("button", { name: "Keep the case" }).click();
  const said = page.locator("#right .held li", { hasText: `${cow}: feet or legs` });
  await said.waitFor();
  assert.match(await said.textContent(), /no call named it\. It was told by Ann/);
  const row = (await json("/api/record")).causes.find((one) => one.cause === "feet");
  assert.equal(row.missed, 1);
  assert.match(await page.locator("#right").textContent(), /1 case was never called/);
  await shot(page, "record-phone", { fullPage: true });
  assert.deepEqual(await axe(page), []);
  await said.getByRole("button", { name: "Take it back" }).click();
  await said.waitFor({ state: "detached" });
  assert.deepEqual((await json("/api/record")).missed.filter((one) => one.id !== null), []);
  assert.deepEqual(complaints, []);
  await close();
});

for (const [size, colorScheme] of looks) {
  test(`the costs and the record at ${size} size, ${colorScheme}`, async () => {
    for (const [path, name] of [["/costs", "costs"], ["/records", "record"]]) {
      const { page, complaints, close } = await open(browser, path, { viewport: sizes[size], colorScheme });
      if (path === "/costs") await page.locator(".came > li summary").first().click();
      assert.equal(await sideways(page), 0);
      assert.deepEqual(await axe(page), []);
      const low = await page.locator("button:visible, .figures input:visible").evaluateAll((all) =>
        all.filter((one) => one.getBoundingClientRect().height < 44 && !one.classList.contains("hidden")).length);
      assert.equal(low, 0, "a thumb hits every button and field");
      await shot(page, `${name}-${size}-${colorScheme}`, { fullPage: true });
      assert.deepEqual(complaints, []);
      await close();
    }
  });
}
