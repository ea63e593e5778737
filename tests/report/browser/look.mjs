// Opens pages in a real browser, with scripts off and on: says what the console, the network and axe-core had to say, as JSON.
// usage: node look.mjs FOLDER_OF_NODE_MODULES CHROMIUM PAGE...
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";
import { readFileSync } from "node:fs";

const [modules, executablePath, ...pages] = process.argv.slice(2);
const require = createRequire(pathToFileURL(modules + "/x.js"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const args = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

const browser = await chromium.launch({ executablePath, args });
const found = [];
for (const page of pages) {
  const url = pathToFileURL(page).href;
  for (const javaScriptEnabled of [false, true]) {
    const context = await browser.newContext({ javaScriptEnabled });
    found.push({ page, scripts: javaScriptEnabled, ...(await visit(context, url)) });
    await context.close();
  }
  for (const width of [1280, 320]) {
    const context = await browser.newContext({ bypassCSP: true, viewport: { width, height: 900 } });
    const tab = await context.newPage();
    await tab.goto(url);
    await tab.evaluate(axe);
    const result = await tab.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
    const wide = await tab.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    const violations = result.violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.target.join(" ")).join(", ")}`);
    found.push({ page, width, axe: violations, rules: result.passes.length, wide });
    await context.close();
  }
}
await browser.close();
console.log(JSON.stringify(found));

async function visit(context, url) {
  const tab = await context.newPage();
  const messages = [], requests = [];
  tab.on("console", (message) => messages.push(message.text()));
  tab.on("pageerror", (error) => messages.push(String(error)));
  tab.on("dialog", (dialog) => { messages.push("dialog " + dialog.message()); dialog.dismiss(); });
  tab.on("request", (request) => requests.push(request.url()));
  await tab.goto(url);
  await tab.waitForTimeout(200);
  return { messages, requests: requests.filter((each) => each !== url && !each.startsWith("data:")) };
}
