// The round as it is walked: opening calls by thumb and by key, with and without JavaScript; the picture; print.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { aCow, aDay, leads, open, pdf, shot, sideways, sizes, start } from "./start.mjs";

let browser, cow;
before(async () => {
  browser = await start();
  cow = await aCow(browser);
});
after(() => browser?.close());

for (const javaScriptEnabled of [true, false]) {
  const how = javaScriptEnabled ? "with JavaScript" : "without JavaScript";

  test(`a thumb opens a call and the one before closes, ${how}`, async (t) => {
    const { page, close } = await open(browser, "/round", { javaScriptEnabled, hasTouch: true });
    const calls = page.locator("details.call");
    if (await calls.count() < 2) return t.skip("the round has fewer than two calls");
    assert.ok(await calls.nth(0).locator(".open").isVisible(), "the first is open");
    await calls.nth(1).locator("> summary").tap();
    assert.ok(await calls.nth(1).locator(".open").isVisible());
    assert.ok(!await calls.nth(0).locator(".open").isVisible());
    await calls.nth(1).locator("> summary").tap();
    assert.ok(!await calls.nth(1).locator(".open").isVisible());
    await close();
  });

  test(`the keys alone open a call and lead to the cow, ${how}`, async (t) => {
    const { page, close } = await open(browser, "/round", { javaScriptEnabled, viewport: sizes.desk });
    const calls = page.locator("details.call");
    if (await calls.count() < 2) return t.skip("the round has fewer than two calls");
    const reached = async (wanted) => {
      for (let presses = 0; presses < 60; presses += 1) {
        await page.keyboard.press("Tab");
        if (await page.locator(`${wanted}:focus`).count()) return true;
      }
      return false;
    };
    assert.ok(await reached("#call2 > summary"), "Tab reaches the second call");
    const outline = await page.locator("#call2 > summary").evaluate((one) => getComputedStyle(one).outlineStyle);
    assert.equal(outline, "solid", "one sees where one is");
    await page.keyboard.press("Enter");
    assert.ok(await calls.nth(1).locator(".open").isVisible());
    await page.keyboard.press("Space");
    assert.ok(!await calls.nth(1).locator(".open").isVisible());
    await page.keyboard.press("Enter");
    if (await page.locator("#call2 .open .ways a").count()) {
      assert.ok(await reached("#call2 .open .ways a"), "Tab goes on into what was opened");
      await leads(page, /\/cow/, () => page.keyboard.press("Enter"));
    }
    await close();
  });

  test(`the pages are whole, ${how}`, async (t) => {
    const { page, close } = await open(browser, cow, { javaScriptEnabled, viewport: sizes.phone });
    assert.ok(await page.locator("h1").isVisible());
    const picture = page.locator("svg.lanes.phone");
    if (!await picture.count()) return t.skip("she has no picture");
    assert.ok(await picture.isVisible());
    assert.ok(!await page.locator("svg.lanes.desk").isVisible(), "a phone has its own drawing");
    await page.locator(".twin > summary").click();
    assert.ok(await page.locator(".twin td").first().isVisible(), "the same in figures");
    const from = await page.locator("input[name=to]").inputValue();
    await page.locator("input[name=from]").fill(from);
    await leads(page, /from=/, () => page.getByRole("button", { name: "Show these days" }).click());
    assert.equal(await page.locator("input[name=from]").inputValue(), from);
    await shot(page, `cow-one-day-${javaScriptEnabled ? "script" : "plain"}`);
    await page.goBack();
    await leads(page, /to=/, () => page.locator(".spans a").last().click());
    assert.equal(await sideways(page), 0);
    await close();
  });
}

test("the picture tells the time, value and band it is pointed at", async (t) => {
  const { page, complaints, close } = await open(browser, cow, { viewport: sizes.desk });
  const svg = page.locator("svg.lanes.desk");
  if (!await svg.count()) return t.skip("she has no picture");
  const said = page.locator(".readout");
  const place = await svg.boundingBox();
  await page.mouse.move(place.x + place.width * 0.6, place.y + place.height * 0.2);
  const first = await said.textContent();
  assert.match(first, /\d\d:\d\d · .+: .+, expected .+–.+/);
  // Its figures are those of the table.
  const value = first.match(/: ([^:]+), expected/)[1];
  const cells = await page.locator(".twin td b").allTextContents();
  assert.ok(cells.includes(value), `${value} stands in the table`);
  await svg.focus();
  await page.keyboard.press("End");
  const last = await said.textContent();
  await page.keyboard.press("ArrowLeft");
  const before = await said.textContent();
  assert.notEqual(before, last);
  await page.keyboard.press("ArrowRight");
  assert.equal(await said.textContent(), last);
  await page.keyboard.press("ArrowDown");
  assert.notEqual(await said.textContent(), last);
  await page.waitForFunction(() => {
    const spoken = document.querySelector(".picture [aria-live]");
    return spoken && spoken.textContent === document.querySelector(".readout").textContent;
  });
  await shot(page, "cow-desk-pointed");
  assert.deepEqual(complaints, []);
  await close();
});

for (const name of ["round", "cow", "boxes"]) {
  test(`${name}: prints on A4 and Letter`, async () => {
    const { page, close } = await open(browser, { cow, round: "/round", boxes: await aDay(browser) }[name], { viewport: sizes.desk });
    for (const [format, width] of [["A4", 688], ["Letter", 710]]) {
      const file = await pdf(page, name, format);
      assert.equal(file.subarray(0, 5).toString(), "%PDF-");
      const sheets = file.toString("latin1").match(/\/Type\s*\/Page\b/g)?.length ?? 0;
      assert.ok(1 <= sheets && sheets <= 12, `${sheets} sheets`);
      await page.emulateMedia({ media: "print" });
      await page.setViewportSize({ width, height: 1000 });
      assert.equal(await sideways(page), 0, `${format}: nothing is cut off`);
      assert.ok(!await page.locator("nav.pages").isVisible());
      if (name === "round" && await page.locator(".call").count()) {
        assert.ok(await page.locator(".found").first().isVisible(), "a line to write on");
        // A caution is on paper whether its call was open or not.
        for (const one of await page.locator(".call").all()) {
          const cautions = await one.locator(".caution").allTextContents();
          for (const caution of cautions) {
            assert.ok(await page.getByText(caution, { exact: true }).filter({ visible: true }).count(), caution);
          }
        }
        // A list to carry: what stands behind the call that is open is printed only where that was asked for.
        const behind = page.locator(".call[open] > .open").first();
        assert.ok(await page.locator(".call .do").first().isVisible() && !await behind.isVisible());
        await page.locator("#print-open").evaluate((box) => { box.checked = true; });
        assert.ok(await behind.isVisible(), "asked for");
        assert.notEqual(await page.locator(".call[open] .open").first().evaluate((one) => getComputedStyle(one).position), "fixed");
        await page.locator("#print-open").evaluate((box) => { box.checked = false; });
      }
      await shot(page, `${name}-print-${format}`, { fullPage: true });
      await page.emulateMedia({ media: "screen" });
      await page.setViewportSize(sizes.desk);
    }
    await close();
  });
}

test("wide: the walk's list stays beside the open call", async (t) => {
  const { page, close } = await open(browser, "/round", { viewport: sizes.desk });
  const calls = page.locator("details.call");
  if (await calls.count() < 2) return t.skip("the round has fewer than two calls");
  const list = await page.locator(".walk").boundingBox();
  const opened = await calls.nth(0).locator(".open").boundingBox();
  assert.ok(list.x + list.width < opened.x, "side by side");
  await page.mouse.wheel(0, 600);
  await page.waitForTimeout(200);
  assert.equal((await calls.nth(0).locator(".open").boundingBox()).y, 0, "it stays while the list is scrolled");
  await calls.last().locator("> summary").click();
  assert.ok(await calls.last().locator(".open").isVisible());
  await close();
});

test("a browser without events asks each minute, and says when there is a newer round", async (t) => {
  const { page, close } = await open(browser, "/round");
  await page.addInitScript(() => { delete window.EventSource; });
  if (!await page.locator(".walk .head").count()) return t.skip("nothing was read yet");
  await page.clock.install();
  let mark = '"before"';
  await page.route("**/round", (route) => route.request().method() === "HEAD"
    ? route.fulfill({ status: 200, headers: { etag: mark } }) : route.continue());
  const first = page.waitForResponse((response) => response.request().method() === "HEAD");
  await page.reload();
  await first;
  const again = async () => {
    const answered = page.waitForResponse((response) => response.request().method() === "HEAD");
    await page.clock.fastForward(61000);
    await answered;
  };
  await again();
  assert.equal(await page.locator(".newer").count(), 0, "the same rows");
  mark = '"after"';
  await again();
  await page.locator(".newer a").waitFor();
  await again();
  assert.equal(await page.locator(".newer").count(), 1, "said once");
  await page.locator(".newer a").click();
  await page.waitForLoadState();
  assert.equal(await page.locator(".newer").count(), 0);
  await close();
});
