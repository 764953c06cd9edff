// @ts-check
/** Reminders out of the app: this phone, the person who carries it, and what was sent to whom. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { mayCarry } from "../core/carrying.js";
import { nursery, one, people, session } from "../store/house.js";
import { may, mayChange } from "../store/may.js";
import { reached, readLog, readReached, ringHere, ringing, sendTest, setCarrier, silenceHere } from "../store/reaching.js";
import { record, recordAll } from "../store/record.js";
import { Choice, Toggle } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { Field } from "../ui/number.js";
import { Page } from "../ui/page.js";
import { hoursInWords, hoursOf } from "./hours.js";
import { Log } from "./reminders_log.js";
import { tellTrouble } from "./walking.js";

const EMAIL = /^[^\s@]+@[^\s@]+\.[^\s@]+$/;
// What the server derives is no part of a person's own row.
const DERIVED = ["revision", "shipped", "folded_at"];
const TEST_SHOWN_AFTER_MS = 5000;

/** Whether an address can be given on this phone. */
const mayGive = () => {
  const row = one("person", session.value?.person);
  return Boolean(row && mayChange(row));
};

/** Who may be said to carry this phone: where it records, nobody who only looks, for they are who is recording then. */
const carriers = () => people().filter((each) => mayCarry(session.value?.role, each) && !(each.role === "viewer" && may("looked")));

export function Reminders() {
  const [said, setSaid] = useState("");
  const tried = (act) => act.catch((problem) => setSaid(problem.kind === "unreachable" ? t("reminders.offline") : problem.problem?.detail ?? t("reminders.offline")));
  const read = () => tried(Promise.all([readReached(), readLog()]));
  useEffect(() => void read(), []);
  const test = (channel) => {
    setSaid(t("reminders.test_sent"));
    void tried(sendTest(channel).then(() => setTimeout(read, TEST_SHOWN_AFTER_MS)));
  };
  const carrier = session.value?.person ?? null;
  return html`<${Page} name="reminders" title=${t("reminders.title")} back="#/settings">
    <p>${t("reminders.why")}</p>
    <${ThisPhone} tried=${tried} onTest=${test} />
    <p class="answered" role="status">${said}</p>
    <${Choice} name=${t("reminders.carrier")} answers=${[...carriers().map((each) => [each.id, each.name]), [null, t("reminders.shared")]]} value=${carrier}
      onChoose=${(id) => void tried(setCarrier(id ?? null))} />
    ${carrier && one("person", carrier) && html`<${Mine} key=${carrier} row=${one("person", carrier)} onTest=${test} />`}
    <a class="act" href="#/hours"><strong>${t("hours.title")}</strong><small>${hoursInWords(nursery())}</small></a>
    <${InLine} />
    <${Log} onMore=${() => void tried(readLog(true))} />
  </${Page}>`;
}

/** Whether this phone rings, and the tap that asks for it. */
function ThisPhone({ tried, onTest }) {
  const state = ringing.value;
  return html`<section><h2>${t("reminders.here")}</h2>
    <p class="large">${t(`reminders.here.${state}`)}</p>
    ${reached.value?.push_ready === false && html`<p class="caution">${t(mayGive() ? "reminders.no_contact" : "reminders.no_contact_ask")}</p>`}
    ${(state === "off" || state === "denied") && html`<button type="button" class="act main-act" onClick=${() => void tried(ringHere())}><strong>${t("reminders.ring")}</strong></button>`}
    ${state === "on" && html`<div class="row"><button type="button" class="act" onClick=${() => onTest("push")}>${t("reminders.test")}</button>
      <button type="button" class="act" onClick=${() => void tried(silenceHere())}>${t("reminders.silence")}</button></div>`}
    <p class="quiet">${t("reminders.never_only")}</p></section>`;
}

/** Who is told first, and who next; everybody sees it, and the owner says it. A viewer can take nothing on. */
function InLine() {
  const line = people().filter(({ role }) => role !== "viewer").sort((a, b) => (a.order ?? 1e9) - (b.order ?? 1e9) || (a.name < b.name ? -1 : 1));
  if (line.length < 2) return null;
  const earlier = (at) => {
    const moved = [...line];
    [moved[at - 1], moved[at]] = [moved[at], moved[at - 1]];
    const rows = moved.map((row, order) => ({ ...row, order })).filter((row) => row.order !== one("person", row.id).order);
    void recordAll(rows.map((row) => ({ kind: "person_changed", lot: null, data: plainRow(row) }))).catch(tellTrouble);
  };
  return html`<section><h2>${t("reminders.line")}</h2><ol class="line">${line.map((row, at) => html`<li key=${row.id}><span>${at + 1}. ${row.name}</span>
    ${at > 0 && may("person_changed") && html`<button type="button" class="act" aria-label=${t("reminders.earlier_what", { name: row.name })} onClick=${() => earlier(at)}>${t("reminders.earlier")}</button>`}</li>`)}</ol></section>`;
}

const plainRow = (row) => Object.fromEntries(Object.entries(row).filter(([name]) => !DERIVED.includes(name)));

/** What the person who carries this phone wants. */
function Mine({ row, onTest }) {
  const [draft, setDraft] = useState(/** @type {any} */ ({}));
  const [error, setError] = useState("");
  const now = { ...row, ...draft };
  const set = (name) => (value) => setDraft({ ...draft, [name]: value });
  const mail = now.reach?.mail === true;
  const usual = hoursOf(nursery());
  if (!mayChange(row)) return html`<section class="mine"><h2>${t("reminders.mine", { name: row.name })}</h2><p>${t("reminders.not_yours", { name: row.name })}</p></section>`;
  const save = async () => {
    if (now.email && !EMAIL.test(now.email)) {
      setError(t("error.email"));
      return;
    }
    setError("");
    const empty = (name, value) => DERIVED.includes(name) || ((name === "email" || name.startsWith("quiet_")) && !value);
    const plain = Object.fromEntries(Object.entries(now).filter(([name, value]) => !empty(name, value)));
    await record("person_changed", null, plain).then(() => setDraft({}), tellTrouble);
  };
  return html`<section class="mine"><h2>${t("reminders.mine", { name: row.name })}</h2>
    <${Toggle} words=${t("reminders.wake")} on=${now.agreed_to_wake === true} onToggle=${set("agreed_to_wake")} />
    <p class="quiet">${t("reminders.quiet_why")}</p>
    <div class="fields span"><${Field} label=${t("reminders.quiet_from")} type="time" value=${now.quiet_from ?? usual.quiet_from} onInput=${set("quiet_from")} />
      <${Field} label=${t("reminders.quiet_to")} type="time" value=${now.quiet_to ?? usual.quiet_to} onInput=${set("quiet_to")} /></div>
    <${Field} label=${t("reminders.email")} type="email" value=${now.email} error=${error} onInput=${set("email")} />
    <${Toggle} words=${t("reminders.mail")} on=${mail} onToggle=${(on) => set("reach")({ ...now.reach, mail: on })} />
    ${reached.value?.mail_ready === false && html`<p class="quiet">${t("reminders.no_mail")}</p>`}
    ${mail && row.email && reached.value?.mail_ready && html`<button type="button" class="act" onClick=${() => onTest("mail")}>${t("reminders.test_mail")}</button>`}
    ${Object.keys(draft).length > 0 && html`<button type="button" class="act main-act" onClick=${save}><strong>${t("settings.save")}</strong></button>`}</section>`;
}
