// A day of the boxes: read without JavaScript, walked by keys, pointed at, on a phone in rows of six hours, on paper.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { aDay, base, leads, open, shot, sideways, sizes, start } from "./start.mjs";

let browser, day;
before(async () => {
  browser = await start();
  day = await aDay(browser);
});
after(() => browser?.close());

test("without JavaScript: other days, a cow's visits and the figures", async () => {
  const { page, close } = await open(browser, "/boxes", { javaScriptEnabled: false });
  assert.ok(await page.locator("nav.pages a[aria-current=page]", { hasText: "Boxes" }).isVisible());
  await page.locator("nav.spans a[rel=prev]").click();
  await page.locator("nav.spans a[rel=next]").waitFor();
  const date = await page.locator("input[name=date]").inputValue();
  assert.ok(page.url().includes(date));
  await page.locator(".twin > summary").first().click();
  const visit = await page.locator(".twin td").first().textContent();
  const cow = visit.split(":")[0];
  await page.locator("input[name=animal]").fill(cow);
  await page.getByRole("button", { name: "Show" }).click();
  await page.getByRole("heading", { name: `Visits of ${cow}` }).waitFor();
  assert.equal(await page.locator("input[name=date]").inputValue(), date, "the day stays");
  assert.ok(await page.locator(".hers tbody tr").count() >= 1);
  assert.ok(await page.locator(".band.phone .pointer-her").count() >= 1, "marked on the band");
  await page.locator("input[name=date]").fill("2001-01-01");
  await page.getByRole("button", { name: "Show" }).click();
  assert.ok(await page.getByText("No row of a box was read for this day").isVisible());
  await close();
});

test("a phone has four rows of six hours, a desk one band of a day", async () => {
  for (const [name, viewport] of Object.entries(sizes)) {
    const { page, close } = await open(browser, day, { viewport });
    const box = page.locator("section.box").first();
    const rows = await box.locator(`svg.band.${name}:visible`).all();
    assert.equal(rows.length, name === "phone" ? 4 : 1);
    assert.equal(await box.locator("svg.band:visible").count(), rows.length);
    // Letters are as large as they are drawn: no shrunken picture.
    const scale = await rows[0].evaluate((svg) => svg.getBoundingClientRect().width / svg.viewBox.baseVal.width);
    assert.ok(0.9 < scale && scale < 1.7, `scale ${scale}`);
    assert.equal(await sideways(page), 0);
    await shot(page, `boxes-day-${name}`, { fullPage: true });
    await close();
  }
});

test("the band tells the visit it is pointed at, and the keys go from one to the next", async () => {
  const { page, complaints, close } = await open(browser, day, { viewport: sizes.desk });
  const svg = page.locator("svg.band.desk").first(), said = page.locator(".readout").first();
  const place = await svg.boundingBox();
  await page.mouse.move(place.x + place.width * 0.5, place.y + place.height * 0.4);
  assert.match(await said.textContent(), /^\d\d:\d\d · .+: .+, until \d\d:\d\d/);
  await svg.focus();
  await page.keyboard.press("End");
  const last = await said.textContent();
  await page.keyboard.press("ArrowLeft");
  assert.notEqual(await said.textContent(), last);
  await page.keyboard.press("ArrowRight");
  assert.equal(await said.textContent(), last);
  const rows = await page.locator("section.box").first().locator(".twin tr[data-t]").count();
  const drawn = await fetch(`${base}/api${day}`).then((answer) => answer.json());
  assert.equal(rows, drawn.boxes[0].visits.length + drawn.boxes[0].states.length, "the twin holds every row");
  assert.deepEqual(complaints, []);
  await close();
});

test("the keys alone reach another day and a cow's mark", async () => {
  const { page, close } = await open(browser, "/boxes", { viewport: sizes.desk });
  const reached = async (wanted) => {
    for (let presses = 0; presses < 40; presses += 1) {
      await page.keyboard.press("Tab");
      if (await page.locator(`${wanted}:focus`).count()) return true;
    }
    return false;
  };
  assert.ok(await reached("input[name=animal]"));
  await page.keyboard.type("1");
  await leads(page, /animal=1/, () => page.keyboard.press("Enter"));
  assert.ok(await reached("nav.spans a[rel=prev]"));
  await leads(page, /date=.*animal=1/, () => page.keyboard.press("Enter"));
  await close();
});

test("told apart without colour: each kind has a shape or hatch of its own", async () => {
  const { page, close } = await open(browser, day, { viewport: sizes.desk });
  const looks = await page.evaluate(() => [...document.querySelectorAll(".legend .sign")].map((svg) => svg.innerHTML));
  assert.ok(looks.length >= 3);
  assert.equal(new Set(looks.map((html) => html.replace(/class="[^"]*"/g, ""))).size, looks.length, "no two signs have the same lines");
  await close();
});
