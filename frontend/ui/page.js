// @ts-check
/** The frame of a screen: what it is, where the record is, and the acts in the lower third. @module */
import { html, t } from "./html.js";
import { Status } from "./status.js";

/** @param {{title: any, back?: string, side?: any, foot?: any, children?: any, name: string}} props */
export function Page({ title, back, side, foot, children, name }) {
  return html`<div class=${`page page-${name}`}>
    <header class="top">
      ${back && html`<a class="back" href=${back} aria-label=${t("nav.back")}>‹</a>`}
      <h1>${title}</h1>
      <div class="top-side">${side ?? html`<${Status} />`}</div>
    </header>
    <main>${children}</main>
    ${foot && html`<footer class="foot">${foot}</footer>`}
  </div>`;
}

/** The four ways from here. @param {{here: string}} props */
export function Ways({ here }) {
  const ways = [["round", "#/"], ["lots", "#/lots"], ["alerts", "#/alerts"], ["more", "#/settings"]];
  return html`<nav class="ways">${ways.map(([name, href]) => html`<a href=${href}
    aria-current=${name === here ? "page" : undefined}>${t(`nav.${name}`)}</a>`)}</nav>`;
}
