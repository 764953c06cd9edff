/**
 * Touch every control of a screen once, its fields filled, and come back whenever a touch leads away.
 * Returns the names of what was touched, and the links to screens that have nothing for this phone.
 */
async ([route, leftAlone]) => {
  const { mayOpen } = await import("/store/may.js");
  const wait = (ms) => new Promise((go) => setTimeout(go, ms));
  const settle = () => wait(15).then(() => new Promise((go) => requestAnimationFrame(go))).then(() => wait(15));
  const go = async () => {
    location.hash = "#/unsent";
    await settle();
    location.hash = route;
    // A screen is fetched at its first visit; a mixing begins with a question.
    const shown = `.page-${route.split("/")[1] || "round"}, .page-not-yours, .page-question`;
    for (let left = 400; !document.querySelector(shown); left -= 1) {
      if (!left) throw new Error(`${route} is not shown`);
      await settle();
    }
    await settle();
  };
  const touched = new Set();
  const closed = new Set();
  const key = (one) => `${one.closest("li, article, section")?.querySelector("h2, strong, .code")?.innerText}|${one.innerText || one.ariaLabel}`;
  await go();
  for (;;) {
    for (const link of document.querySelectorAll('main a[href^="#/"], footer a[href^="#/"]')) {
      const name = link.getAttribute("href").split("/")[1];
      if (!mayOpen(name)) closed.add(link.getAttribute("href"));
    }
    for (const field of document.querySelectorAll("main input, main textarea, footer input")) {
      if (field.matches(":disabled") || field.type === "file" || field.value) continue;
      field.value = { time: "07:30", date: "2026-09-20", email: "a@b.example" }[field.type] ?? "7";
      field.dispatchEvent(new Event("input", { bubbles: true }));
      field.dispatchEvent(new Event("change", { bubbles: true }));
    }
    await settle();
    const next = [...document.querySelectorAll("main button, footer button, main summary")]
      .find((one) => !one.matches(":disabled") && !touched.has(key(one)) && !new RegExp(leftAlone, "i").test(one.innerText));
    if (!next || touched.size >= 60) return { touched: [...touched], closed: [...closed] };
    touched.add(key(next));
    next.click();
    await settle();
    if (location.hash !== route && route !== "#/") await go();
  }
}
