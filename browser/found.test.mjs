// The morning walk: a call is opened, what was found is tapped, seen to be kept, and taken back; without a network it waits.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { axe, base, open, shot, sideways, sizes, start } from "./start.mjs";

let browser;
before(async () => { browser = await start(); });
after(() => browser?.close());

const answers = async () => (await (await fetch(`${base}/api/record`)).json()).answers;

for (const javaScriptEnabled of [true, false]) {
  const how = javaScriptEnabled ? "with JavaScript" : "without JavaScript";

  test(`what was found is tapped, kept, and taken back, ${how}`, async (t) => {
    const { page, complaints, close } = await open(browser, "/round", { javaScriptEnabled, hasTouch: true });
    const call = page.locator(".place:not(.done) details.call").first();
    if (!await call.count()) return t.skip("the round has no call");
    const said = (await call.locator(".say").first().textContent()).trim();
    if (!await call.locator(".open").isVisible()) await call.locator("> summary").tap();
    const buttons = call.locator(".choices > button");
    for (const box of await buttons.evaluateAll((all) => all.map((one) => one.getBoundingClientRect().height))) {
      assert.ok(box >= 44, `a thumb hits a button of ${box} px`);
    }
    await shot(page, `found-asked-${javaScriptEnabled ? "script" : "plain"}`, { fullPage: true });
    const before = (await answers()).length;
    await buttons.getByText("Nothing found").tap();
    const kept = page.locator(".note.kept");
    await kept.waitFor();
    assert.match(await kept.textContent(), /Kept\. Found .*nothing found/);
    assert.equal((await answers()).length, before + 1);
    assert.ok((await page.locator(".place.done .say").allTextContents()).some((one) => one.trim() === said), "it is off the walk");
    assert.equal(await sideways(page), 0);
    await shot(page, `found-kept-${javaScriptEnabled ? "script" : "plain"}`, { fullPage: true });
    if (javaScriptEnabled) assert.deepEqual(await axe(page), []);
    await kept.getByRole("button", { name: "Take it back" }).tap();
    await page.getByText("Taken back; the call stands").waitFor();
    assert.equal((await answers()).filter((one) => !one.taken_back).length, 0);
    assert.equal(await page.locator(".place.done").count(), 0, "it is on the walk again");
    assert.deepEqual(complaints, []);
    await close();
  });
}

test("the keys alone enter another quarter with a note and a name", async (t) => {
  const { page, close } = await open(browser, "/round", { viewport: sizes.desk });
  const call = page.locator("details.call").filter({ has: page.getByText("It is ", { exact: false }) }).first();
  if (!await call.count()) return t.skip("the round has no udder call");
  if (!await call.locator(".open").isVisible()) {
    await call.locator("> summary").focus();
    await page.keyboard.press("Enter");
  }
  await call.locator(".choices .fold > summary").focus();
  await page.keyboard.press("Enter");
  await call.locator("input[name=by]").focus();
  await page.keyboard.type("Ann");
  await page.keyboard.press("Tab");
  await page.keyboard.type("cup <b>torn</b>");
  await call.locator(".choices > button").getByText("It is ").first().focus();
  await page.keyboard.press("Enter");
  await page.locator(".note.kept").waitFor();
  const [newest] = await answers();
  assert.equal(newest.outcome, "other-quarter");
  assert.deepEqual([newest.by, newest.note], ["Ann", "cup <b>torn</b>"]);
  // Loading the page again says nothing twice: the script, which runs after the page is drawn, takes it off the address.
  await page.waitForFunction(() => !location.search, null, { timeout: 5000 });
  const remembered = await page.locator("details.call .choices input[name=by]").first().inputValue();
  assert.equal(remembered, "Ann");
  await page.locator(".note.kept").getByRole("button", { name: "Take it back" }).click();
  await page.getByText("Taken back").waitFor();
  await close();
});

test("without a network the answer waits on the phone and is sent once", async (t) => {
  const { page, close } = await open(browser, "/round", { hasTouch: true });
  const call = page.locator("details.call").first();
  if (!await call.count()) return t.skip("the round has no call");
  if (!await call.locator(".open").isVisible()) await call.locator("> summary").tap();
  const before = (await answers()).length;
  await page.context().setOffline(true);
  await call.locator(".choices > button").getByText("Look again").tap();
  await page.getByText("One answer waits on this phone").waitFor();
  await shot(page, "found-waits");
  assert.equal((await answers()).length, before);
  await page.context().setOffline(false);
  await page.getByText("One answer waits on this phone").waitFor({ state: "hidden" });
  const after = await answers();
  assert.equal(after.length, before + 1);
  assert.equal(after[0].outcome, "look-again");
  await page.reload();
  await page.waitForTimeout(300);
  assert.equal((await answers()).length, before + 1, "sent once");
  assert.equal((await fetch(`${base}/api/found/${after[0].id}/undo`, { method: "POST" })).status, 204);
  await close();
});
