// Takes the pictures of README and the guides: `COWPATH_URL=http://… node browser/pictures.mjs [NAME…]`, all without a name.
import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { base, open, start, sizes } from "./start.mjs";

const folder = fileURLToPath(new URL("../docs/pictures/", import.meta.url));
mkdirSync(folder, { recursive: true });
const phone = { width: sizes.phone.width, height: 900 };
const wanted = process.argv.slice(2);
const browser = await start();

async function take(name, path, viewport, colorScheme, prepare) {
  if (wanted.length && !wanted.includes(name)) return;
  const { page, close } = await open(browser, path, { viewport, colorScheme });
  await prepare?.(page);
  await page.screenshot({ path: join(folder, `${name}.png`) });
  await close();
}

// The first call is opened where the page has not opened it itself.
const opened = async (page) => {
  const call = page.locator("details.call").first();
  if ((await call.count()) && !(await call.evaluate((own) => own.open))) await call.locator("summary").first().click();
};

const { page, close } = await open(browser, "/round");
const day = new Date((await (await fetch(`${base}/api/round`)).json()).at.slice(0, 10));
day.setUTCDate(day.getUTCDate() - 1);
const yesterday = day.toISOString().slice(0, 10);
const cow = await page.locator("a[href^='/cow/']").first().getAttribute("href");
await close();
await take("round-phone-light", "/round", phone, "light", opened);
await take("round-phone-dark", "/round", phone, "dark", opened);
await take("round-desk-light", "/round", sizes.desk, "light", opened);
await take("found-phone-light", "/round", phone, "light", async (page) => {
  await opened(page);
  await page.locator(".outcome h4").first().evaluate((own) => own.scrollIntoView({ block: "start" }));
});
await take("boxes-phone-light", `/boxes?date=${yesterday}`, phone, "light");
await take("boxes-desk-light", `/boxes?date=${yesterday}`, sizes.desk, "light");
await take("records-phone-light", "/records", phone, "light");
await take("cow-phone-light", cow, phone, "light");
await take("cow-desk-light", cow, sizes.desk, "light");
await take("minutes-phone-light", "/boxes/minutes", phone, "light");
await take("intervals-desk-light", "/boxes/intervals", sizes.desk, "light");
const answered = (page) => page.locator("#answer .state", { hasText: "Sure enough" }).waitFor({ timeout: 60000 });
await take("plan-phone-light", "/plan", phone, "light", answered);
await take("plan-desk-light", "/plan", sizes.desk, "light", async (page) => {
  await answered(page);
  await page.locator(".asks a", { hasText: "One more box" }).click();
  await page.locator("#stop").waitFor({ state: "hidden", timeout: 60000 });
});
await browser.close();
