import { start, open } from "./start.mjs";
const b = await start();
for (const [name, size] of [["desk",{width:1280,height:900}],["phone",{width:360,height:740}]]) {
 const { page } = await open(b, "/round", { viewport: size });
 await page.waitForTimeout(1200);
 await page.pdf({ format: "A4", path: `/tmp/q-left/round-${name}.pdf` });
}
await b.close();
