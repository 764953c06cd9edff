// @ts-check
/** The calendar feed: what it is, its address, renewing and stopping it. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { readCalendar, renewCalendar, stopCalendar } from "../store/calendar.js";
import { html, t } from "../ui/html.js";
import { when } from "../ui/local.js";
import { Page } from "../ui/page.js";

export function Calendar() {
  const [known, setKnown] = useState(/** @type {import("../store/calendar.js").Known | null} */ (null));
  const [told, setTold] = useState("");
  useEffect(() => void readCalendar().then(setKnown), []);
  const act = (change, words) => () => change().then((found) => {
    setKnown(found);
    setTold(t(words));
  }, (problem) => setTold(problem.kind === "unreachable" ? t("calendar.offline") : problem.message));
  const copy = () => navigator.clipboard.writeText(known?.address ?? "").then(() => setTold(t("tag.copied")), () => setTold(t("tag.copy_denied")));
  const foot = html`${told && html`<p role="status">${told}</p>`}
    ${known && !known.made_at && html`<button type="button" class="act main-act" onClick=${act(renewCalendar, "calendar.made")}><strong>${t("calendar.make")}</strong><span>${t("calendar.make_what")}</span></button>`}
    ${known?.address && html`<a class="act main-act" href=${known.webcal}><strong>${t("calendar.open")}</strong><span>${t("calendar.open_what")}</span></a>`}
    ${known?.made_at && html`<div class="three">${known.address && html`<button type="button" class="act" onClick=${copy}>${t("tag.copy")}</button>`}
      <button type="button" class="act" onClick=${act(renewCalendar, "calendar.renewed")}>${t("calendar.renew")}</button>
      <button type="button" class="act" onClick=${act(stopCalendar, "calendar.stopped")}>${t("calendar.stop")}</button></div>`}`;
  return html`<${Page} name="calendar" title=${t("calendar.title")} back="#/settings" foot=${foot}>
    <p>${t("calendar.why")}</p>
    ${known?.offline && html`<p class="caution">${t("calendar.offline")}</p>`}
    ${known?.address && html`<section><h2>${t("calendar.yours")}</h2><p class="link">${known.address}</p><p class="caution">${t("calendar.secret")}</p></section>`}
    ${known?.made_at && !known.address && html`<p class="caution">${t("calendar.elsewhere", { when: when(known.made_at) })}</p>`}
    <a class="act" href="#/bench"><strong>${t("calendar.bench")}</strong><small>${t("calendar.bench_what")}</small></a>
  </${Page}>`;
}
