// @ts-check
/** The nursery's name is on the move: how this phone goes over, and for the owner which phones have not. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { contact, nameMove, pending, person, phone, trayCount, unsentPhotos } from "../store/house.js";
import { may } from "../store/may.js";
import { endOldName, standing, wayOver } from "../store/name_move.js";
import { html, t } from "../ui/html.js";
import { tryNow } from "../ui/keeper.js";
import { age } from "../ui/local.js";
import { Page } from "../ui/page.js";

export function Move() {
  const move = nameMove.value;
  const isOver = move && location.hostname === move.to;
  return html`<${Page} name="move" title=${t("move.title")} back="#/settings">
    ${!move && html`<p>${t("move.none")}</p>`}
    ${move && html`<p class="large">${t(isOver ? "move.is_over" : "move.what", { from: move.from, to: move.to })}</p>`}
    ${move && !isOver && html`<${Steps} move=${move} />`}
    ${move && may("POST /api/v1/name-move/end") && html`<${Phones} move=${move} />`}
  </${Page}>`;
}

/** Send, trust, open: the three steps of this phone, each with how it stands. */
function Steps({ move }) {
  const here = pending.value.length + trayCount.value + unsentPhotos.value.length;
  return html`<ol class="move-steps">
    <li><h2>${t("move.send")}</h2>${here ? html`<${Waits} />` : html`<p>${t("move.sent")}</p>`}</li>
    ${move.trust && html`<li><h2>${t("move.trust")}</h2><p>${t("move.trust_why", { to: move.to })}</p>
      <a class="act" href=${move.trust.help}><strong>${t("move.trust_open")}</strong><small>${move.trust.help}</small></a>
      <p>${t("move.fingerprint")}</p><p class="link fingerprint">${inLines(move.trust.fingerprint)}</p></li>`}
    <li><h2>${t("move.go", { to: move.to })}</h2><${WayOver} move=${move} ready=${here === 0} /></li>
  </ol>`;
}

/** Eight pairs a line, as the page with the certificate prints it. */
const inLines = (fingerprint) => fingerprint.match(/.{1,24}/g).map((line, index) => html`<span key=${index}>${line}</span>`);

function Waits() {
  const n = pending.value.length;
  return html`${n > 0 && html`<p>${t("move.waits", { n })}</p><button type="button" class="act main-act" onClick=${tryNow}><strong>${t("unsent.try")}</strong></button>`}
    ${!n && unsentPhotos.value.length > 0 && html`<p>${t("move.photos", { n: unsentPhotos.value.length })}</p><button type="button" class="act main-act" onClick=${tryNow}><strong>${t("unsent.try")}</strong></button>`}
    ${trayCount.value > 0 && html`<p>${t("move.tray", { n: trayCount.value })}</p>`}
    <a class="act" href="#/unsent"><strong>${t("unsent.title")}</strong><small>${t("unsent.file")}</small></a>`;
}

function WayOver({ move, ready }) {
  const [made, setMade] = useState(/** @type {any} */ (null));
  const [error, setError] = useState("");
  const make = () => wayOver().then((said) => {
    setMade(said);
    setError(said ? "" : t("move.first"));
  }, (problem) => setError(problem.kind === "unreachable" ? t("move.offline", move) : problem.message));
  const go = made && html`<a class="act main-act" href=${made.link}><strong>${t("move.open", move)}</strong><span>${t("move.once", made)}</span></a>`;
  const offer = html`<button type="button" class="act main-act" onClick=${make}><strong>${t("move.make")}</strong></button>`;
  return html`<p>${t(ready ? "move.go_what" : "move.first")}</p>
    ${ready && (go || offer)}
    ${ready && made && html`<button type="button" class="act" onClick=${make}>${t("move.make_again")}</button>`}
    ${error && html`<p class="error" role="alert">${error}</p>`}
    ${contact.value.state === "unreachable" && !made && html`<p class="quiet">${t("move.offline", move)}</p>`}
    ${phone()?.moved_to && html`<p>${t("move.gone", move)}</p>`}`;
}

/** For the owner: who stands where, and the end of the old name. */
function Phones({ move }) {
  const [phones, setPhones] = useState(/** @type {any[] | null} */ (null));
  const [left, setLeft] = useState(/** @type {string[]} */ ([]));
  const [asked, setAsked] = useState(false);
  const [error, setError] = useState("");
  const say = (problem) => setError(problem.kind === "unreachable" ? t("people.offline") : problem.message);
  const look = () => standing().then(setPhones, say);
  useEffect(() => void look(), []);
  const turn = (id) => setLeft(left.includes(id) ? left.filter((one) => one !== id) : [...left, id]);
  const end = () => endOldName(left).then(({ name }) => {
    nameMove.value = null;
    location.href = `https://${name}:${location.port || 443}/`;
  }, say);
  const waits = (phones ?? []).filter((one) => one.at === "old" && !left.includes(one.id));
  return html`<section><h2>${t("move.phones")}</h2>
    ${phones && html`<ul class="people">${phones.map((one) => html`<${Stands} key=${one.id} phone=${one} isLeft=${left.includes(one.id)} onTurn=${() => turn(one.id)} />`)}</ul>
      <p>${waits.length ? t("move.cannot_end", { from: move.from, n: waits.length }) : t("move.can_end", { from: move.from })}</p>
      ${!waits.length && !asked && html`<button type="button" class="act" onClick=${() => setAsked(true)}>${t("move.end", { from: move.from })}</button>`}
      ${!waits.length && asked && html`<p>${t("move.end_what", { from: move.from })}</p><div class="place-row">
        <button type="button" class="act" onClick=${end}>${t("move.end_now")}</button><button type="button" class="act" onClick=${() => setAsked(false)}>${t("move.end_not")}</button></div>`}`}
    ${error && html`<p class="error" role="alert">${error}</p>`}</section>`;
}

function Stands({ phone: one, isLeft, onTurn }) {
  const whose = person(one.person) ?? t(`role.${one.role ?? "worker"}`);
  const seen = one.last_sync_at ? t("people.last_sync", { ago: age(one.last_sync_at) }) : t("people.never_synced");
  return html`<li><p><strong>${one.name ?? one.id.slice(0, 8)}</strong> <small>${whose}</small></p>
    <p class="quiet">${t(`move.at.${one.at}`)}${one.at === "old" && ` · ${seen}`}</p>
    ${one.at === "old" && html`<button type="button" class="act" aria-pressed=${isLeft} onClick=${onTurn}>${t(isLeft ? "move.is_left" : "move.leave")}</button>`}
    ${isLeft && html`<p>${t("move.left_what")}</p>`}</li>`;
}
