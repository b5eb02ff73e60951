// Box minutes: where they went, and in two touches from Boxes what to type into the boxes and what that is worth.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { axe, base, leads, open, shot, sideways, sizes, start } from "./start.mjs";

let browser;
before(async () => { browser = await start(); });
after(() => browser?.close());

const json = async (path) => (await fetch(base + path)).json();
const looks = [["phone", "light"], ["phone", "dark"], ["desk", "light"], ["desk", "dark"]];

test("each day of a box adds up, also as it is told by hours", async () => {
  const told = await json("/api/box-minutes");
  assert.ok(told.days.length > 0);
  const sum = (seconds) => Object.values(seconds).reduce((all, one) => all + one, 0);
  for (const day of told.days) {
    assert.equal(sum(day.seconds), day.day_s);
    assert.equal(day.hours.reduce((all, hour) => all + sum(hour.seconds), 0), day.day_s);
    assert.equal(sum(day.handling), day.seconds.handling);
  }
});

for (const javaScriptEnabled of [true, false]) {
  test(`from Boxes to the settings and their worth, ${javaScriptEnabled ? "with" : "without"} JavaScript`, async () => {
    const { page, complaints, close } = await open(browser, "/boxes", { javaScriptEnabled });
    await leads(page, /\/boxes\/intervals/, () => page.getByRole("link", { name: "What to type into the boxes" }).click());
    assert.equal(await page.getByRole("region", { name: "Settings by group" }).locator("tbody tr").count(), 6);
    assert.ok(await page.getByRole("heading", { name: "What it is worth" }).isVisible());
    assert.match(await page.locator("dl.fit dd").first().textContent(), /90.% interval/);
    assert.ok(await page.locator(".caution").count() >= 3, "cautions stand in place");
    const before = await json("/api/intervals");
    assert.ok(before.worth_per_minute >= 0 && before.cows.length > 0);
    const used = before.cows.reduce((all, cow) => all + cow.minutes, 0);
    assert.ok(Math.abs(used - before.minutes.used_then) < 1e-6 * used);

    // Tried: shown, and not kept.
    await page.getByLabel("Of a box’s day kept idle, %").fill("25");
    await page.getByRole("button", { name: "Show what would change" }).click();
    await page.getByText("Nothing is kept yet").waitFor();
    assert.equal((await json("/api/intervals")).terms.idle, before.terms.idle);
    await page.getByRole("button", { name: "Keep these terms" }).click();
    await page.getByText("Kept. What follows").waitFor();
    const after = await json("/api/intervals");
    assert.equal(after.terms.idle, 0.25);
    assert.ok(after.worth_per_minute === null || after.worth_per_minute >= before.worth_per_minute, "fewer minutes are worth more");
    await page.getByRole("button", { name: "The stated ones again" }).click();
    await page.getByText("Kept. What follows").waitFor();
    assert.equal((await json("/api/intervals")).terms.idle, before.terms.idle);
    assert.deepEqual(complaints, []);
    await close();
  });
}

test("terms that contradict each other are said, and what was typed stays", async () => {
  const { page, close } = await open(browser, "/boxes/intervals");
  await page.getByLabel("Shortest, later lactations, h").fill("13/7/9");
  await page.getByLabel("Longest, later lactations, h").fill("12/14/14");
  await page.getByRole("button", { name: "Keep these terms" }).click();
  assert.match(await page.getByRole("alert").textContent(), /longer than the longest/);
  assert.equal(await page.getByLabel("Shortest, later lactations, h").inputValue(), "13/7/9");
  await close();
});

test("minutes that no box has: which limit gives way first", async () => {
  const { page, close } = await open(browser, "/boxes/intervals?minutes=100");
  assert.match(await page.locator(".summary").textContent(), /do not suffice.*gives way/s);
  assert.equal(await page.getByRole("heading", { name: "What it is worth" }).count(), 0);
  await close();
});

test("phone and desk, light and dark", async () => {
  for (const [size, colorScheme] of looks) {
    for (const [name, path] of [["minutes", "/boxes/minutes"], ["intervals", "/boxes/intervals"], ["boxes", "/boxes"]]) {
      const { page, complaints, close } = await open(browser, path, { viewport: sizes[size], colorScheme });
      assert.equal(await sideways(page), 0, `${path} at ${size}`);
      assert.deepEqual(await axe(page), [], `${path} at ${size}, ${colorScheme}`);
      await shot(page, `box-${name}-${size}-${colorScheme}`, { fullPage: true });
      assert.deepEqual(complaints, []);
      await close();
    }
  }
});

test("a box's hours are drawn and written", async () => {
  const { page, close } = await open(browser, "/boxes", { viewport: sizes.desk });
  const own = page.locator("section.box").first();
  assert.match(await own.locator(".ledger").textContent(), /^Of 1,(380|440|500) minutes: /);
  assert.ok(await own.locator(".hours > svg rect").count() > 24);
  await own.locator(".hours summary").click();
  assert.ok(await own.locator(".hours tbody tr").count() >= 23);
  await close();
});
