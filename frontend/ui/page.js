// @ts-check
/** The frame of a screen (what it is, where the record is, the acts in the lower third), and flags. @module */
import { contact, groups, pending, person, saidToRecord, shared, trayCount, unsentPhotos } from "../store/house.js";
import { html, t } from "./html.js";
import { clock } from "./local.js";

/** @param {{title: any, back?: string, side?: any, foot?: any, children?: any, name: string}} props */
export function Page({ title, back, side, foot, children, name }) {
  return html`<div class=${`page page-${name}`}>
    <header class="top">
      ${back && html`<a class="back" href=${back} aria-label=${t("nav.back")}><svg viewBox="0 0 20 20" width="22" height="22" aria-hidden="true"><path d="M13 2 L5 10 L13 18" /></svg></a>`}
      <div class="top-words"><h1>${title}</h1>
        <p class="where">${side && html`<strong>${side}</strong> `}${shared.value && saidToRecord.value && html`<strong>${t("who.said", { who: person(saidToRecord.value) ?? "?" })}</strong> `}<span role="status">${whereItIs()}</span></p></div>
    </header>
    <main>${children}</main>
    ${foot && html`<footer class="foot">${foot}</footer>`}
  </div>`;
}

/** Where the record is, in plain words: "14 saved here, not sent", or "all on the server, 08:41". */
function whereItIs() {
  const n = pending.value.length;
  const last = contact.value.last_sync_at;
  if (trayCount.value) return t("saved.tray", { n: trayCount.value });
  if (contact.value.state === "signed-out") return t("saved.signed_out", { n });
  if (n) return t("saved.here", { n });
  if (unsentPhotos.value.length) return t("saved.photos", { n: unsentPhotos.value.length });
  return last ? t("saved.server", { time: clock(last) }) : t("saved.never");
}

/** The five ways from here; that to the alerts says how many alarms stand. @param {{here: string}} props */
export function Ways({ here }) {
  const ways = [["round", "#/"], ["bench", "#/bench"], ["lots", "#/lots"], ["alerts", "#/alerts"], ["more", "#/settings"]];
  const alarms = (groups.value ?? []).filter((one) => one.level === "alarm" && one.state !== "shelved").length;
  return html`<nav class="ways">${ways.map(([name, href]) => html`<a href=${href}
    aria-current=${name === here ? "page" : undefined}><span>${t(`nav.${name}`)}${name === "alerts" && alarms > 0
      && html`${" "}<b class="alarms" aria-label=${levelCount("alarm", alarms)}>${alarms}</b>`}</span></a>`)}</nav>`;
}

/** "1 alarm", "3 late". @param {string} level @param {number} n */
export const levelCount = (level, n) => t(`level.n.${level}`, { n });

/** Done. */
export const Tick = () => html`<svg viewBox="0 0 20 20" width="22" height="22" aria-hidden="true"><path d="M4 11 L8 15 L16 5" /></svg>`;

/** A flag of a level. @param {{level: string}} props */
export function Flag({ level }) {
  return html`<svg class=${`flag flag-${level}`} viewBox="0 0 24 30" aria-hidden="true" width="22" height="28">
    <path class="stake" d="M3 1 V29" />
    <path class="cloth" d="M4.5 3 L22 9 L4.5 15 Z" />
    ${level === "late" && html`<path class="half" d="M4.5 9 H22 L4.5 15 Z" />`}
  </svg>`;
}

/** How many of each level, worst first, each with its flag. @param {{findings: any[]}} props */
export function Flags({ findings }) {
  const levels = ["alarm", "late", "due"];
  const counts = levels.map((level) => [level, findings.filter((one) => one.level === level).length]);
  return html`<span class="flags">
    ${counts.filter(([, n]) => n).map(([level, n]) => html`<span class=${`level level-${level}`}>
      <${Flag} level=${level} />${levelCount(level, n)}
    </span>`)}
  </span>`;
}
