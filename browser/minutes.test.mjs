// Box minutes: where they went, and in two touches from Boxes what to type into the boxes and what that is worth.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { aDay, axe, base, leads, open, pdf, shot, sideways, sizes, start } from "./start.mjs";

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
    const worth = page.getByRole("region", { name: "What it is worth" });
    assert.match(await page.locator(".verdict").first().textContent(), /^Worth by group: [+−]?[\d.]+\sUSD a day, with 90\s% certainty [+−]?[\d.]+ to [+−]?[\d.]+/);
    assert.match(await worth.locator(".note").textContent(), /have no source/);
    assert.match(await worth.locator("table.worth tbody td").first().textContent(), /^[+−]?[\d.]+ \([+−]?[\d.]+ to [+−]?[\d.]+\)$/);
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

test("on a phone what to type in stands beside what is now, without moving the table", async () => {
  const { page, close } = await open(browser, "/boxes/intervals", { viewport: { width: 360, height: 740 } });
  const table = page.getByRole("region", { name: "Settings by group" });
  assert.deepEqual(await table.locator("thead th").allTextContents(), ["group", "shortest, to type in", "or milk, to type in", "mean interval then", "mean interval now", "cows"]);
  assert.ok(await table.evaluate((own) => own.scrollWidth <= own.clientWidth), "nothing is beyond the edge");
  for (const cell of await table.locator("tbody tr").first().locator("td").all()) {
    const at = await cell.boundingBox();
    assert.ok(0 <= at.x && at.x + at.width <= 360, JSON.stringify(at));
  }
  await close();
});

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

test("a fortnight's trend is told, as the figures have it", async () => {
  const told = await json("/api/box-minutes");
  assert.equal(told.trends.length, 7);
  const { page, close } = await open(browser, "/boxes/minutes");
  const words = await page.locator("section[aria-labelledby=trend-head] p").first().textContent();
  assert.match(words, /^Over the 14 days to /);
  const sure = told.trends.filter((own) => own.sure).length;
  assert.equal(/nothing rises or falls/.test(words), sure === 0);
  await close();
});

test("by keyboard: from Boxes to the settings, and to terms that are tried", async () => {
  const { page, complaints, close } = await open(browser, "/boxes", { viewport: sizes.desk });
  const tabTo = async (is) => {
    for (let count = 0; count < 200; count += 1) {
      await page.keyboard.press("Tab");
      if (await page.evaluate(is)) return;
    }
    assert.fail(`not reached by Tab: ${is}`);
  };
  await tabTo(() => document.activeElement.textContent === "What to type into the boxes");
  await leads(page, /\/boxes\/intervals/, () => page.keyboard.press("Enter"));
  // Wide tables are moved by arrow keys: they take the focus.
  await tabTo(() => document.activeElement.getAttribute("aria-label") === "Settings by group");
  await tabTo(() => document.activeElement.name === "idle");
  await page.keyboard.press("Control+A");
  await page.keyboard.type("20");
  await tabTo(() => document.activeElement.value === "try");
  await page.keyboard.press("Enter");
  await page.getByText("Nothing is kept yet").waitFor();
  assert.deepEqual(complaints, []);
  await close();
});

test("at 320 px, and with letters twice as large there, nothing runs off the side", async () => {
  for (const path of ["/boxes", "/boxes/minutes", "/boxes/intervals", "/plan?cows=100-120/10&other-boxes=3&parlour=2"]) {
    const { page, close } = await open(browser, path, { viewport: { width: 320, height: 640 } });
    assert.equal(await sideways(page), 0, path);
    await page.evaluate(() => { document.documentElement.style.fontSize = "200%"; });
    assert.equal(await sideways(page), 0, `${path}, letters twice as large`);
    await close();
  }
});

test("what is touched is large enough", async () => {
  for (const path of ["/boxes/minutes", "/boxes/intervals"]) {
    const { page, close } = await open(browser, path);
    for (const one of await page.locator("main .way:visible, main button:visible, main input:visible, main summary:visible").all()) {
      const box = await one.boundingBox();
      assert.ok(43.5 <= box.height, `${path}: ${await one.evaluate((own) => own.outerHTML)}: ${box.height}`);
    }
    await close();
  }
});

test("printed on A4 and Letter, nothing cut off", async () => {
  for (const [name, path, most] of [["box-minutes", "/boxes/minutes", 4], ["box-intervals", "/boxes/intervals", 3]]) {
    const { page, close } = await open(browser, path, { viewport: sizes.desk });
    for (const [format, width] of [["A4", 688], ["Letter", 710]]) {
      const file = await pdf(page, name, format);
      const sheets = file.toString("latin1").match(/\/Type\s*\/Page\b/g)?.length ?? 0;
      assert.ok(1 <= sheets && sheets <= most, `${name}, ${format}: ${sheets} sheets`);
      await page.emulateMedia({ media: "print" });
      await page.setViewportSize({ width, height: 1000 });
      assert.equal(await sideways(page), 0, `${name}, ${format}`);
      for (const table of await page.locator("main table:visible").all()) {
        const box = await table.boundingBox();
        assert.ok(box.x + box.width <= width + 1, `${name}, ${format}: a table of ${box.width}`);
      }
      await page.emulateMedia({ media: "screen" });
    }
    await close();
  }
});

test("a box's hours are drawn and written", async () => {
  const { page, close } = await open(browser, (await aDay(browser)).replace(/[?&]animal=.*/, ""), { viewport: sizes.desk });
  const own = page.locator("section.box").first();
  assert.match(await own.locator(".ledger").textContent(), /^Of 1,(380|440|500) minutes: /);
  assert.ok(await own.locator(".hours > svg rect").count() > 24);
  await own.locator(".hours summary").click();
  assert.ok(await own.locator(".hours tbody tr").count() >= 23);
  await close();
});
