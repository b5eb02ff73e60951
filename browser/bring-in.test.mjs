// Whom to bring in: read without JavaScript, marked with one thumb, without network too, on a phone, a desk and paper.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { axe, base, open, pdf, shot, sideways, sizes, start } from "./start.mjs";

let browser;
before(async () => { browser = await start(); });
after(() => browser?.close());

// Marks left by a test would be found by the next one.
async function unmarkAll() {
  const list = await (await fetch(`${base}/api/bring-in`)).json();
  for (const cow of list.bring) {
    if (cow.done) await fetch(`${base}/api/bring-in/${cow.done.id}/undo`, { method: "POST" });
  }
  return list;
}

test("the farm that is served has cows to bring in", async () => {
  assert.ok((await unmarkAll()).bring.length > 0, "serve a farm with somebody to bring in, or lower its limits");
});

test("without JavaScript a cow is marked and the mark taken back", async () => {
  await unmarkAll();
  const { page, close } = await open(browser, "/bring-in", { javaScriptEnabled: false });
  assert.ok(await page.locator("nav.pages a[aria-current=page]", { hasText: "Bring in" }).isVisible());
  const cow = page.locator(".bring").first();
  const animal = await cow.getAttribute("data-animal");
  await cow.getByRole("button", { name: `${animal} is brought` }).click();
  await page.getByText(/^Brought /).first().waitFor();
  assert.ok(await page.getByText(/^1 of \d+ brought\./).isVisible());
  await page.getByRole("button", { name: `${animal} was not brought: take it back` }).click();
  await page.getByRole("button", { name: `${animal} is brought` }).waitFor();
  await close();
});

test("one tap marks her, and everybody else on the walk sees it", async () => {
  await unmarkAll();
  const { page, complaints, close } = await open(browser, "/bring-in");
  const cow = page.locator(".bring").first();
  const animal = await cow.getAttribute("data-animal");
  await cow.getByRole("button").click();
  await cow.getByText(/^Brought \S/).waitFor();
  const other = await open(browser, "/bring-in");
  await other.page.locator(`.bring.brought[data-animal="${animal}"]`).waitFor();
  await shot(other.page, "bring-in-marked");
  await other.close();
  await cow.getByRole("button").click();
  await cow.getByRole("button", { name: `${animal} is brought` }).waitFor();
  assert.equal((await unmarkAll()).bring.filter((one) => one.done).length, 0);
  assert.deepEqual(complaints, []);
  await close();
});

test("without network the mark waits on the phone, stays over a reload, and is sent once", async () => {
  await unmarkAll();
  const { page, close } = await open(browser, "/bring-in");
  const cow = page.locator(".bring").first();
  const animal = await cow.getAttribute("data-animal");
  await page.route("**/api/bring-in/done", (route) => route.abort());
  await cow.getByRole("button").click();
  await cow.getByText("kept on this phone").waitFor();
  await page.reload();
  await page.locator(".bring.brought").first().getByText("kept on this phone").waitFor();
  assert.equal((await (await fetch(`${base}/api/bring-in`)).json()).bring.filter((one) => one.done).length, 0);
  await page.unroute("**/api/bring-in/done");
  await page.evaluate(() => dispatchEvent(new Event("online")));
  await page.locator(`.bring.brought[data-animal="${animal}"]`).getByText(/^Brought \d|^Brought [a-zA-Z]+ \d/).waitFor();
  assert.equal((await unmarkAll()).bring.filter((one) => one.done).length, 1);
  await close();
});

test("a thumb finds the button: large, at the edge, nothing beside the page", async () => {
  await unmarkAll();
  for (const [name, viewport] of Object.entries(sizes)) {
    for (const colorScheme of ["light", "dark"]) {
      const { page, complaints, close } = await open(browser, "/bring-in", { viewport, colorScheme });
      assert.equal(await sideways(page), 0, name);
      const button = await page.locator(".bring button").first().boundingBox();
      assert.ok(64 <= button.height && 64 <= button.width, `${button.width} × ${button.height}`);
      if (name === "phone") assert.ok(viewport.width / 2 < button.x, "under the right thumb");
      const number = await page.locator(".bring .say b").first().evaluate((own) => parseFloat(getComputedStyle(own).fontSize));
      assert.ok(24 <= number, `number of the cow: ${number} px`);
      assert.deepEqual(await axe(page), [], `${name} ${colorScheme}`);
      await shot(page, `bring-in-${name}-${colorScheme}`, { fullPage: true });
      assert.deepEqual(complaints, []);
      await close();
    }
  }
});

test("the keys alone mark her", async () => {
  await unmarkAll();
  const { page, close } = await open(browser, "/bring-in", { viewport: sizes.desk });
  for (let presses = 0; presses < 60; presses += 1) {
    await page.keyboard.press("Tab");
    if (await page.locator(".bring button:focus").count()) break;
  }
  await page.keyboard.press("Enter");
  await page.locator(".bring.brought").first().waitFor();
  // The focus stays with her.
  await page.locator(".bring.brought button:focus").waitFor();
  await close();
  await unmarkAll();
});

test("a list of the past takes no marks, and paper has a box to tick", async () => {
  const list = await unmarkAll();
  const { page, close } = await open(browser, `/bring-in?at=${encodeURIComponent(list.at)}`);
  assert.equal(await page.locator(".bring button").count(), 0);
  await page.emulateMedia({ media: "print" });
  assert.ok(await page.locator(".tick-box").first().isVisible());
  await close();
  const paper = await open(browser, "/bring-in");
  for (const format of ["A4", "Letter"]) await pdf(paper.page, "bring-in", format);
  await paper.close();
});
