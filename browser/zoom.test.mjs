// A cow's picture over another span, asked of the server: dragged, by keys, by buttons; going back; without a network.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { aCow, axe, open, shot, sizes, start } from "./start.mjs";

let browser, cow;
before(async () => {
  browser = await start();
  cow = await aCow(browser);
});
after(() => browser?.close());

const days = async (page) => [
  await page.locator(".span input[name=from]").inputValue(),
  await page.locator(".span input[name=to]").inputValue(),
];
const changed = (page, before) => page.waitForFunction((was) => {
  const at = (name) => document.querySelector(`.span input[name=${name}]`).value;
  return `${at("from")},${at("to")}` !== was;
}, String(before));

test("dragging, keys and buttons ask for another span; Back shows the one before", async (t) => {
  const { page, complaints, close } = await open(browser, cow, { viewport: sizes.desk });
  if (!await page.locator("svg.lanes.desk").count()) return t.skip("she has no picture");
  await page.evaluate(() => { window.stayed = true; });
  const first = await days(page);
  let place = await page.locator("svg.lanes.desk").boundingBox();
  const at = (share) => place.x + place.width * (160 + share * 472) / 740;
  await page.mouse.move(at(0.35), place.y + 60);
  await page.mouse.down();
  await page.mouse.move(at(0.5), place.y + 60, { steps: 4 });
  assert.ok(await page.locator(".chosen").isVisible(), "what is chosen is seen");
  await page.mouse.move(at(0.65), place.y + 60, { steps: 4 });
  await page.mouse.up();
  await changed(page, first);
  const nearer = await days(page);
  assert.ok(first[0] < nearer[0] && nearer[1] < first[1], `${nearer} lies within ${first}`);
  assert.ok(page.url().includes(`from=${nearer[0]}`) && page.url().includes(`to=${nearer[1]}`));
  assert.ok(await page.evaluate(() => window.stayed), "the page itself stayed");
  await shot(page, "cow-desk-nearer");

  await page.locator("svg.lanes.desk").focus();
  await page.keyboard.press("-");
  await changed(page, nearer);
  const wider = await days(page);
  assert.ok(await page.locator("svg.lanes.desk:focus").count(), "the focus stays in the picture");
  await page.keyboard.press("End");
  assert.match(await page.locator(".readout").textContent(), /\d\d:\d\d · /, "the new picture can be pointed at");

  await page.goBack();
  await changed(page, wider);
  assert.deepEqual(await days(page), nearer);
  await page.goBack();
  await changed(page, nearer);
  assert.deepEqual(await days(page), first);
  await page.goForward();
  await changed(page, first);
  assert.deepEqual(await days(page), nearer);
  assert.ok(await page.evaluate(() => window.stayed));

  await page.getByRole("button", { name: /^Wider/ }).click();
  await changed(page, nearer);
  assert.ok(await page.locator("[data-zoom=Wider]:focus").count(), "the focus stays on the button");
  assert.deepEqual(await axe(page), []);
  // The page the address names is the one that is shown.
  const shown = await days(page);
  await page.reload();
  assert.deepEqual(await days(page), shown);
  assert.deepEqual(complaints, []);
  await close();
});

test("two fingers: apart is nearer", async (t) => {
  const { page, close } = await open(browser, cow, { hasTouch: true, isMobile: true });
  const svg = page.locator("svg.lanes.phone");
  if (!await svg.count()) return t.skip("she has no picture");
  const first = await days(page);
  await svg.scrollIntoViewIfNeeded();
  const place = await svg.boundingBox();
  await page.evaluate(([x, y]) => {
    const svg = document.querySelector("svg.lanes.phone");
    const send = (kind, id, at) => svg.dispatchEvent(new PointerEvent(kind, {
      pointerId: id, pointerType: "touch", clientX: at, clientY: y, bubbles: true,
    }));
    send("pointerdown", 11, x + 120);
    send("pointerdown", 12, x + 180);
    send("pointermove", 11, x + 60);
    send("pointermove", 12, x + 260);
    send("pointerup", 12, x + 260);
    send("pointerup", 11, x + 60);
  }, [place.x, place.y + 30]);
  await changed(page, first);
  const nearer = await days(page);
  assert.ok(first[0] <= nearer[0] && nearer[1] <= first[1], `${nearer} lies within ${first}`);
  await close();
});

test("without a network the picture stays, and it is said", async (t) => {
  const { page, close } = await open(browser, cow, { viewport: sizes.desk });
  if (!await page.locator("svg.lanes.desk").count()) return t.skip("she has no picture");
  const first = await days(page);
  await page.route("**/cow/**", (route) => route.abort());
  await page.getByRole("button", { name: /^Closer/ }).click();
  await page.getByText("did not answer").waitFor();
  assert.deepEqual(await days(page), first);
  await close();
});
