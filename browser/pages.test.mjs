// Every page at phone and desk size, light and dark: nothing for axe to find, nothing sideways, nothing asked of others.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { aCow, aDay, axe, base, open, shot, sideways, sizes, start } from "./start.mjs";

let browser, pages;
before(async () => {
  browser = await start();
  const cow = await aCow(browser);
  assert.ok(cow, "the farm has a cow");
  pages = { round: "/round", cow, herd: "/herd", boxes: await aDay(browser), lost: "/nowhere", "no-cow": "/cow/nobody%20at%20all" };
});
after(() => browser?.close());

for (const name of ["round", "cow", "herd", "boxes", "lost", "no-cow"]) {
  for (const size of ["phone", "desk"]) {
    for (const colorScheme of ["light", "dark"]) {
      test(`${name}, ${size}, ${colorScheme}`, async () => {
        const { page, complaints, close } = await open(browser, pages[name], { viewport: sizes[size], colorScheme });
        assert.equal(await sideways(page), 0);
        await shot(page, `${name}-${size}-${colorScheme}`);
        for (const fold of await page.locator("details:not([name]) > summary:visible").all()) await fold.click();
        assert.equal(await sideways(page), 0, "unfolded");
        assert.deepEqual(await axe(page), []);
        await shot(page, `${name}-${size}-${colorScheme}-unfolded`, { fullPage: true });
        // A page that is not there is said to the console by the browser itself.
        assert.deepEqual(complaints.filter((text) => !text.includes("404")), []);
        await close();
      });
    }
  }
}

test("a thumb hits everything: 44 px and more", async () => {
  for (const [name, path] of Object.entries(pages)) {
    const { page, close } = await open(browser, path, { hasTouch: true, isMobile: true });
    for (const fold of await page.locator("details:not([name]) > summary:visible").all()) await fold.click();
    const small = await page.evaluate(() => [...document.querySelectorAll("a[href], button, input, summary")]
      .filter((one) => !one.matches(".skip, [type=hidden]") && one.checkVisibility())
      .map((one) => [one.outerHTML.slice(0, 90), one.getBoundingClientRect()])
      .filter(([, place]) => place.width < 44 || place.height < 44)
      .map(([html, place]) => `${place.width}×${place.height} ${html}`));
    assert.deepEqual(small, [], name);
    await close();
  }
});

test("at 320 px, and with letters twice as large, nothing runs off the side", async () => {
  for (const [name, path] of Object.entries(pages)) {
    const { page, close } = await open(browser, path, { viewport: { width: 320, height: 640 } });
    assert.equal(await sideways(page), 0, name);
    await page.setViewportSize({ width: 1280, height: 900 });
    await page.evaluate(() => { document.documentElement.style.fontSize = "200%"; });
    assert.equal(await sideways(page), 0, `${name}, letters twice as large`);
    await close();
  }
});

test("what goes wrong is said with its status", async () => {
  for (const [path, status] of [["/nowhere", 404], ["/cow/nobody%20at%20all", 404], ["/round?at=some%20day", 400], ["/cow/x?from=tomorrow", 400]]) {
    const { page, response, close } = await open(browser, path);
    assert.equal(response.status(), status, path);
    for (const part of ["What happened", "What was kept", "What next"]) {
      assert.ok(await page.getByText(part, { exact: true }).isVisible(), `${path}: ${part}`);
    }
    await page.getByRole("link", { name: "To the round" }).click();
    assert.equal(new URL(page.url()).pathname, "/round");
    await close();
  }
  const posted = await fetch(`${base}/round`, { method: "POST", body: "x" });
  assert.equal(posted.status, 405);
});
