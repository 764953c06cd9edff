// @ts-check
/** Who works here, and which phones are let in: a code to scan for a new one, and a way to cut one off. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { lesser } from "../core/carrying.js";
import { uuid7 } from "../core/ids.js";
import { device, one, people } from "../store/house.js";
import { may, mayOpen } from "../store/may.js";
import { cutOff, pairedPhones, pairingLink, passphraseLink } from "../store/preferences.js";
import { record } from "../store/record.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { useInView } from "../ui/in_view.js";
import { age } from "../ui/local.js";
import { tryNow } from "../ui/keeper.js";
import { Field, NAME_MAX } from "../ui/number.js";
import { Whose } from "../ui/only.js";
import { Page } from "../ui/page.js";
import { UndoBar } from "./place_done.js";
import { last as lastDone, offerUndo, tellTrouble } from "./walking.js";

const ROLES = ["worker", "owner", "viewer"];
const DERIVED = ["revision", "shipped", "folded_at"];
const plain = (person) => Object.fromEntries(Object.entries(person).filter(([name]) => !DERIVED.includes(name)));

const byName = () => [...people()].sort((one, other) => one.name.localeCompare(other.name));

const SAID = { "not-allowed": "people.owner_only", "signed-out": "people.let_in_no_more", unreachable: "people.offline" };

/** A name as people compare it, and as the server does: without case, spaces and signs. @param {string} name */
const read = (name) => name.normalize("NFKC").toLowerCase().replace(/[^\p{L}\p{N}]/gu, "") || name.trim();

/** What went wrong in asking the server, in words. @param {any} problem */
function saidOf(problem) {
  // The rest of the app hears at once that this phone is let in no more.
  if (problem.kind === "signed-out") tryNow();
  return problem.problem?.detail && !SAID[problem.kind] ? problem.problem.detail : t(SAID[problem.kind] ?? "people.offline");
}

export function People() {
  const [phones, setPhones] = useState(/** @type {any[] | null} */ (null));
  const [error, setError] = useState("");
  const look = () => pairedPhones().then(setPhones, (problem) => setError(saidOf(problem)));
  const owner = may("POST /api/v1/pairings");
  useEffect(() => void (may("GET /api/v1/phones") && look()), [owner]);
  return html`<${Page} name="people" title=${t("people.title")} back="#/settings" foot=${lastDone.value && html`<${UndoBar} />`}>
    ${error && html`<p class="error" role="alert">${error}</p>`}
    ${!owner && html`<${Whose} what="POST /api/v1/pairings" />`}
    ${!people().length && html`<p>${t("people.none")}</p>`}
    <ul class="people">${byName().map((person) => html`<${Person} key=${person.id} person=${person} owner=${owner} />`)}</ul>
    ${owner && html`<${NewPhone} onMade=${look} />`}
    ${owner && phones && html`<section><h2>${t("people.phones")}</h2>${!phones.length && html`<p class="quiet">${t("people.no_phone")}</p>`}
      <ul class="people">${inOrder(phones).map((phone) => html`<${Phone} key=${phone.id} phone=${phone} last=${isLastOwners(phone, phones)} onCut=${look} />`)}</ul></section>`}
    ${owner && html`<${NewPerson} /><a class="act" href="#/tokens"><strong>${t("tokens.title")}</strong><small>${t("tokens.what")}</small></a>`}
    ${mayOpen("take") && html`<a class="act" href="#/take"><strong>${t("take.title")}</strong><small>${t("take.what")}</small></a>`}
  </${Page}>`;
}

function Person({ person, owner }) {
  const [refused, setRefused] = useState(/** @type {{words: string} | null} */ (null));
  const here = useInView(refused);
  const choose = (role) => {
    if (!role || role === person.role) return;
    const last = isLastOwner(person);
    // Said anew at each tap, so that it comes into view again.
    setRefused(last ? { words: t("people.last_owner", { name: person.name }) } : null);
    if (last) return;
    const took = (event) => offerUndo([event], { label: person.name }, [t(`role.${role}`)]);
    record("person_changed", null, { ...plain(person), role }).then(took, tellTrouble);
  };
  const named = html`<span><strong>${person.name}</strong> <small>${t(`role.${person.role ?? "worker"}`)}</small></span>`;
  return html`<li>${!owner && named}
    ${owner && html`<details><summary aria-label=${t("people.change_role", { name: person.name })}>${named}<span class="more" aria-hidden="true">›</span></summary>
      <${Choice} name=${t("people.role")} answers=${ROLES.map((one) => [one, t(`role.${one}`)])} value=${person.role ?? "worker"} onChoose=${choose} />
      ${refused && html`<p class="error apart" role="alert" ref=${here}>${refused.words}</p>`}<${Forgot} person=${person} /></details>`}</li>`;
}

/** Whether nobody here would be an owner without this one. */
const isLastOwner = (person) => person.role === "owner" && !people().some((other) => other.id !== person.id && other.role === "owner");

/** A link by which somebody sets a passphrase who has none, or forgot it. */
function Forgot({ person }) {
  const [made, setMade] = useState(/** @type {any} */ (null));
  const [error, setError] = useState("");
  const make = () => passphraseLink(person.id).then(setMade, (problem) => setError(saidOf(problem)));
  return html`${made ? html`<p>${t("people.passphrase_link", { name: person.name, minutes: made.minutes })}</p><p class="link">${made.link}</p>`
    : html`<button type="button" class="act apart" onClick=${make}>${t("people.make_passphrase")}</button>`}
    ${error && html`<p class="error" role="alert">${error}</p>`}`;
}

function NewPerson() {
  const [name, setName] = useState("");
  const [role, setRole] = useState("worker");
  const [error, setError] = useState("");
  const add = async () => {
    const wanted = name.trim();
    const taken = people().some((one) => read(one.name) === read(wanted));
    setError(!wanted ? t("error.needed", { field: t("people.name") }) : taken ? t("people.taken", { name: wanted }) : "");
    if (!wanted || taken) return;
    await record("person_changed", null, { id: uuid7(), name: wanted, role }).then(() => {
      setName("");
      // Whoever is added next is nobody's owner by oversight.
      setRole("worker");
    }, tellTrouble);
  };
  return html`<section><h2>${t("people.new")}</h2>
    <${Field} label=${t("people.name")} value=${name} onInput=${setName} max=${NAME_MAX} />
    <${Choice} name=${t("people.role")} answers=${ROLES.map((one) => [one, t(`role.${one}`)])} value=${role} onChoose=${(one) => one && setRole(one)} />
    ${error && html`<p class="error" role="alert">${error}</p>`}
    <button type="button" class="act" onClick=${add}>${t("people.add")}</button></section>`;
}

function NewPhone({ onMade }) {
  const [person, setPerson] = useState(/** @type {string | undefined} */ (undefined));
  const [made, setMade] = useState(/** @type {any} */ (null));
  const shown = useInView(made);
  const [error, setError] = useState("");
  const whose = people().find((one) => one.id === person);
  const make = () => pairingLink(whose?.role ?? "worker", person ?? null).then((said) => {
    setMade(said);
    setError("");
    onMade();
  }, (problem) => setError(saidOf(problem)));
  return html`<section><h2>${t("people.new_phone")}</h2>
    <${Choice} names name=${t("people.whose")} answers=${people().map((one) => [one.id, one.name])} value=${person} onChoose=${(id) => { setPerson(id); setMade(null); }} />
    ${!whose && html`<p class="quiet">${t("people.shared")}</p>`}
    ${made ? html`<figure class="to-scan" ref=${shown}><img src=${made.drawing} alt=${t("people.code")} /><figcaption>${t("people.scan", { minutes: made.minutes })}</figcaption></figure>
        <a class="link" href=${made.link}>${made.link}</a>`
      : html`<button type="button" class="act main-act" onClick=${make}><strong>${t("people.make")}</strong></button>`}
    ${error && html`<p class="error" role="alert">${error}</p>`}</section>`;
}

/** This phone first, then those that are let in. @param {any[]} phones */
const inOrder = (phones) => [...phones].sort((a, b) => rank(a) - rank(b));
const rank = ({ id, lets_in }) => (id === device.value ? 0 : lets_in ? 1 : 2);

/** Whether nobody could let phones in without this one. */
const isLastOwners = (phone, phones) => isOwners(phone) && !phones.some((other) => other.id !== phone.id && isOwners(other));
const isOwners = ({ lets_in, role, person }) => lets_in && lesser(role ?? "worker", one("person", person)?.role) === "owner";

function Phone({ phone, last, onCut }) {
  const [error, setError] = useState("");
  const row = one("phone", phone.id);
  const carrier = one("person", phone.person)?.name;
  const name = row?.name ?? phone.name ?? phone.id.slice(0, 8);
  const seen = phone.last_sync_at ? t("people.last_sync", { ago: age(phone.last_sync_at) }) : t("people.never_synced");
  const mine = phone.id === device.value;
  const cut = () => cutOff(phone.id).then(onCut, (problem) => setError(saidOf(problem)));
  return html`<li><p><strong>${name}</strong> ${mine && html`<b class="this-phone">${t("people.this_phone")}</b>`}</p>
    <p>${carrier ? t("people.carried", { name: carrier }) : t("people.nobodys")} <small>${t(`role.${phone.role ?? "worker"}`)}</small></p>
    <p class="quiet">${phone.lets_in ? seen : t("people.is_cut_off")}</p>
    ${(phone.cloned_since ?? row?.cloned_since) && html`<p class="error">${t("people.cloned")}</p>`}
    ${phone.lets_in && html`<${CutOff} mine=${mine} last=${last} onCut=${cut}><${Naming} phone=${phone} name=${name} /></${CutOff}>`}
    ${error && html`<p class="error" role="alert">${error}</p>`}</li>`;
}

/** What a phone is called here: the name that it gave itself is that of its make at best. */
function Naming({ phone, name }) {
  const [typed, setTyped] = useState(/** @type {string | null} */ (null));
  if (typed === null) return html`<button type="button" class="act" onClick=${() => setTyped(name)}>${t("people.name_it")}</button>`;
  const keep = async () => {
    const wanted = typed.trim();
    if (wanted && wanted !== name) await record("phone_changed", null, { id: phone.id, name: wanted }).catch(tellTrouble);
    setTyped(null);
  };
  return html`<div class="naming"><${Field} label=${t("people.phone_name")} value=${typed} onInput=${setTyped} max=${NAME_MAX} /><button type="button" class="act" onClick=${keep}>${t("settings.save")}</button></div>`;
}

/** Cutting a phone off is no event that can be taken back: what it means is said first. */
function CutOff({ mine, last, onCut, children }) {
  const [asked, setAsked] = useState(false);
  if (!asked) return html`<div class="place-row">${children}<button type="button" class="act" onClick=${() => setAsked(true)}>${t("people.cut_off")}</button></div>`;
  return html`${mine && html`<p class="caution grave">${t("people.cut_off_this")}</p>`}${last && html`<p class="caution grave">${t("people.cut_off_last")}</p>`}
    <p>${t("people.cut_off_what")}</p><div class="place-row">
      <button type="button" class="act" onClick=${onCut}>${t("people.cut_off_now")}</button><button type="button" class="act" onClick=${() => setAsked(false)}>${t("people.leave_in")}</button></div>`;
}
