// @ts-check
/** Who works here, and which phones are let in: a code to scan for a new one, and a way to cut one off. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { uuid7 } from "../core/ids.js";
import { people } from "../store/house.js";
import { may, mayOpen } from "../store/may.js";
import { cutOff, pairedPhones, pairingLink, passphraseLink } from "../store/preferences.js";
import { record } from "../store/record.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { age } from "../ui/local.js";
import { Field } from "../ui/number.js";
import { Whose } from "../ui/only.js";
import { Page } from "../ui/page.js";
import { tellTrouble } from "./walking.js";

const ROLES = ["worker", "owner", "viewer"];
const DERIVED = ["revision", "shipped", "folded_at"];
const plain = (person) => Object.fromEntries(Object.entries(person).filter(([name]) => !DERIVED.includes(name)));

const byName = () => [...people()].sort((one, other) => one.name.localeCompare(other.name));

/** What went wrong in asking the server, in words. @param {any} problem */
const saidOf = (problem) => (problem.kind === "not-allowed" ? t("people.owner_only") : t("people.offline"));

export function People() {
  const [phones, setPhones] = useState(/** @type {any[] | null} */ (null));
  const [error, setError] = useState("");
  const look = () => pairedPhones().then(setPhones, (problem) => setError(saidOf(problem)));
  const owner = may("POST /api/v1/pairings");
  useEffect(() => void (may("GET /api/v1/phones") && look()), [owner]);
  return html`<${Page} name="people" title=${t("people.title")} back="#/settings">
    ${error && html`<p class="error" role="alert">${error}</p>`}
    ${!owner && html`<${Whose} what="POST /api/v1/pairings" />`}
    ${!people().length && html`<p>${t("people.none")}</p>`}
    <ul class="people">${byName().map((person) => html`<${Person} key=${person.id} person=${person} owner=${owner} />`)}</ul>
    ${owner && html`<${NewPhone} onMade=${look} />`}
    ${phones && html`<section><h2>${t("people.phones")}</h2>${!phones.length && html`<p class="quiet">${t("people.no_phone")}</p>`}
      <ul class="people">${phones.map((phone) => html`<${Phone} key=${phone.id} phone=${phone} onCut=${look} />`)}</ul></section>`}
    ${owner && html`<${NewPerson} /><a class="act" href="#/tokens"><strong>${t("tokens.title")}</strong><small>${t("tokens.what")}</small></a>`}
    ${mayOpen("take") && html`<a class="act" href="#/take"><strong>${t("take.title")}</strong><small>${t("take.what")}</small></a>`}
  </${Page}>`;
}

function Person({ person, owner }) {
  const choose = (role) => role && role !== person.role && record("person_changed", null, { ...plain(person), role }).catch(tellTrouble);
  const named = html`<span><strong>${person.name}</strong> <small>${t(`role.${person.role ?? "worker"}`)}</small></span>`;
  return html`<li>${!owner && named}
    ${owner && html`<details><summary aria-label=${t("people.change_role", { name: person.name })}>${named}<span class="more" aria-hidden="true">›</span></summary>
      <${Choice} name=${t("people.role")} answers=${ROLES.map((one) => [one, t(`role.${one}`)])} value=${person.role ?? "worker"} onChoose=${choose} /><${Forgot} person=${person} /></details>`}</li>`;
}

/** A link by which somebody sets a passphrase who has none, or forgot it. */
function Forgot({ person }) {
  const [made, setMade] = useState(/** @type {any} */ (null));
  const [error, setError] = useState("");
  const make = () => passphraseLink(person.id).then(setMade, (problem) => setError(saidOf(problem)));
  return html`${made ? html`<p>${t("people.passphrase_link", { name: person.name, minutes: made.minutes })}</p><p class="link">${made.link}</p>`
    : html`<button type="button" class="act" onClick=${make}>${t("people.make_passphrase")}</button>`}
    ${error && html`<p class="error" role="alert">${error}</p>`}`;
}

function NewPerson() {
  const [name, setName] = useState("");
  const [role, setRole] = useState("worker");
  const [error, setError] = useState("");
  const add = async () => {
    const wanted = name.trim();
    const taken = people().some((one) => one.name.toLowerCase() === wanted.toLowerCase());
    setError(!wanted ? t("error.needed", { field: t("people.name") }) : taken ? t("people.taken", { name: wanted }) : "");
    if (!wanted || taken) return;
    await record("person_changed", null, { id: uuid7(), name: wanted, role }).then(() => setName(""), tellTrouble);
  };
  return html`<section><h2>${t("people.new")}</h2>
    <${Field} label=${t("people.name")} value=${name} onInput=${setName} />
    <${Choice} name=${t("people.role")} answers=${ROLES.map((one) => [one, t(`role.${one}`)])} value=${role} onChoose=${(one) => one && setRole(one)} />
    ${error && html`<p class="error" role="alert">${error}</p>`}
    <button type="button" class="act" onClick=${add}>${t("people.add")}</button></section>`;
}

function NewPhone({ onMade }) {
  const [person, setPerson] = useState(/** @type {string | undefined} */ (undefined));
  const [made, setMade] = useState(/** @type {any} */ (null));
  const [error, setError] = useState("");
  const whose = people().find((one) => one.id === person);
  const make = () => pairingLink(whose?.role ?? "worker", person ?? null).then((said) => {
    setMade(said);
    setError("");
    onMade();
  }, (problem) => setError(saidOf(problem)));
  return html`<section><h2>${t("people.new_phone")}</h2>
    <${Choice} name=${t("people.whose")} answers=${people().map((one) => [one.id, one.name])} value=${person} onChoose=${(id) => { setPerson(id); setMade(null); }} />
    ${!whose && html`<p class="quiet">${t("people.shared")}</p>`}
    ${made ? html`<figure class="to-scan"><img src=${made.drawing} alt=${t("people.code")} /><figcaption>${t("people.scan", { minutes: made.minutes })}</figcaption></figure>
        <p class="link">${made.link}</p>`
      : html`<button type="button" class="act main-act" onClick=${make}><strong>${t("people.make")}</strong></button>`}
    ${error && html`<p class="error" role="alert">${error}</p>`}</section>`;
}

function Phone({ phone, onCut }) {
  const [asked, setAsked] = useState(false);
  const [error, setError] = useState("");
  const whose = people().find((one) => one.id === phone.person)?.name ?? t(`role.${phone.role ?? "worker"}`);
  const cut = () => cutOff(phone.id).then(onCut, (problem) => setError(saidOf(problem)));
  const seen = phone.last_sync_at ? t("people.last_sync", { ago: age(phone.last_sync_at) }) : t("people.never_synced");
  return html`<li><p><strong>${phone.name ?? phone.id.slice(0, 8)}</strong> <small>${whose}</small></p>
    <p class="quiet">${phone.lets_in ? seen : t("people.is_cut_off")}</p>
    ${phone.lets_in && !asked && html`<button type="button" class="act" onClick=${() => setAsked(true)}>${t("people.cut_off")}</button>`}
    ${phone.lets_in && asked && html`<p>${t("people.cut_off_what")}</p><div class="place-row">
      <button type="button" class="act" onClick=${cut}>${t("people.cut_off_now")}</button><button type="button" class="act" onClick=${() => setAsked(false)}>${t("people.leave_in")}</button></div>`}
    ${error && html`<p class="error" role="alert">${error}</p>`}</li>`;
}
