// @ts-check
/** Alerts, the gravest first, one entry for a place: taken on, or left until a time for a reason. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { alerts, groups, one, people, person } from "../store/house.js";
import { may } from "../store/may.js";
import { readRecorder } from "../store/preferences.js";
import { recordAll } from "../store/record.js";
import { html, t } from "../ui/html.js";
import { aimOf, subjectName, wayTo } from "../ui/alert_words.js";
import { Past } from "./alerts_past.js";
import { Leave } from "./leave.js";
import { UndoBar } from "./place_done.js";
import { isMine, isOthers, nobodyNamed, WhoHas, whoHas } from "./who_has.js";
import { offerUndo, tellTrouble } from "./walking.js";
import { Flag, levelCount, Page, Ways } from "../ui/page.js";
import { when } from "../ui/local.js";
import { whoWords } from "../ui/who_words.js";

const LEVELS = ["alarm", "late", "due"];
const SHOWN_FIRST = 20;

export function Alerts() {
  const [most, setMost] = useState(SHOWN_FIRST);
  useEffect(() => void readRecorder().catch(tellTrouble), []);
  const all = groups.value ?? [];
  const open = all.filter((each) => each.state !== "shelved");
  const left = all.filter((each) => each.state === "shelved");
  return html`<${Page} name="alerts" title=${t("alerts.title")} foot=${html`<${UndoBar} /><${Ways} here="alerts" />`}>
    ${open.length === 0 && html`<p class="large">${t("alerts.none")}</p>`}
    ${LEVELS.map((level) => {
      const n = open.filter((each) => each.level === level).length;
      const here = open.slice(0, most).filter((each) => each.level === level);
      return here.length > 0 && html`<section key=${level}><h2 class=${`level level-${level}`}><${Flag} level=${level} />${levelCount(level, n)}</h2>
        ${here.map((each) => html`<${Entry} key=${each.key} each=${each} />`)}</section>`;
    })}
    ${open.length > most && html`<button type="button" class="act" onClick=${() => setMost(most + SHOWN_FIRST)}>${t("alerts.more", { n: open.length - most })}</button>`}
    ${left.length > 0 && html`<section><h2>${t("alerts.left_until")}</h2>
      ${left.map((each) => html`<${Entry} key=${each.key} each=${each} />`)}</section>`}
    <${Past} />
    <a class="act" href="#/season"><strong>${t("season.title")}</strong><small>${t("season.why")}</small></a>
    <a class="act" href="#/ringing"><strong>${t("ringing.title")}</strong><small>${t("ringing.what")}</small></a>
  </${Page}>`;
}

/** One entry: a single finding, or all that stand for the same thing in one place. */
function Entry({ each }) {
  const [doing, setDoing] = useState("");
  const { findings: own, folded } = each;
  const open = own.filter((finding) => finding.state === "open");
  const isLeft = each.state === "shelved";
  const [mine, others] = [own.filter(isMine), own.filter(isOthers)];
  const answer = (kind, findings, by) => recordAll(findings.map((finding) => ({ kind, ...aimOf(finding), more: { by: by === "holder" ? finding.acknowledged_by : by } })))
    .then((events) => offerUndo(events, { label: `${t(`act.${kind}`)}:` }, [own[0].says]), tellTrouble)
    .then(() => setDoing(""));
  const take = (by) => answer("acknowledged", isLeft ? own : open.length > 0 ? open : others, by);
  // Given back, it is handed over: who said so last is not who has it next.
  const isHandedOver = (open.length === 0 && others.length > 0) || own.some((finding) => finding.given_back_at);
  const have = () => whoHas(isHandedOver).then(({ ask, by }) => (ask ? setDoing("who") : take(by)), tellTrouble);
  const giveBack = () => (nobodyNamed() && people().length > 0 ? setDoing("back") : answer("given_back", mine, "holder"));
  const many = own.length > 1;
  const goes = wayTo(own[0]) === "#/frost" ? "#/frost" : null;
  const counted = t(own[0].lot ? "alerts.lots" : "alerts.places", { n: own.length });
  const head = [one("place", each.place)?.name, t(`watch.${each.watch}`)].filter(Boolean).join(": ");
  return html`<article class="alert">
    ${isLeft && html`<p class=${`level level-${each.level}`}><${Flag} level=${each.level} />${t(`level.${each.level}`)}</p>`}
    ${many ? html`<p><strong>${head}</strong>
      <small> ${counted}, ${t("alerts.since", { when: when(each.since) })}</small></p>
      ${goes && html`<a class="act" href=${goes}>${t("alerts.to_frost")}</a>`}`
      : html`<${Words} finding=${own[0]} />`}
    <p>${own[0].next_action}.</p>
    ${many && html`<${Folded} title=${t("alerts.each", { what: counted })} findings=${own} />`}
    ${folded.length > 0 && html`<${Folded} title=${t("alerts.folded", { n: folded.length })} findings=${folded} />`}
    <${Answered} findings=${own} />
    <${HandedOn} findings=${open} />
    ${doing === "who" && html`<${WhoHas} onSay=${take} onLeave=${() => setDoing("")} />`}
    ${doing === "back" && html`<${WhoHas} legend=${t("alerts.who_gives_back")} onSay=${(by) => answer("given_back", mine, by)} onLeave=${() => setDoing("")} />`}
    ${doing === "who" || doing === "back" ? null : doing === "leave" ? html`<${Leave} findings=${own} what=${many ? `${head}, ${counted}.` : `${own[0].says}.`} onDone=${() => setDoing("")} />` : may("acknowledged") && html`<div class="row">
      ${(isLeft || open.length > 0) && html`<button type="button" class="act" onClick=${have}>${t("alerts.have")}</button>`}
      ${!isLeft && open.length === 0 && others.length > 0 && html`<button type="button" class="act" onClick=${have}>${t("alerts.take_over")}</button>`}
      ${!isLeft && mine.length > 0 && html`<button type="button" class="act" onClick=${giveBack}>${t("alerts.give_back")}</button>`}
      ${isLeft ? html`<button type="button" class="act" onClick=${() => answer("given_back", own, undefined)}>${t("alerts.back_on")}</button>`
        : html`<button type="button" class="act" onClick=${() => setDoing("leave")}>${t("alerts.leave")}</button>`}</div>`}
  </article>`;
}

function Words({ finding }) {
  const place = finding.lot ? one("place", finding.place)?.name : null;
  const words = html`<strong>${finding.says}.</strong> <small>${[place, t("alerts.since", { when: when(finding.since) })].filter(Boolean).join(", ")}</small>`;
  const goes = wayTo(finding);
  return goes ? html`<a class="alert-words" href=${goes}>${words}</a>` : html`<p>${words}</p>`;
}

/** The single findings that an entry stands for, each with its way. */
function Folded({ title, findings: held }) {
  const [open, setOpen] = useState(false);
  const list = html`<ul class="cards">${held.map((finding) => html`<li key=${finding.watch + finding.subject.id}>
    <a href=${wayTo(finding) ?? "#/alerts"}><${Flag} level=${finding.level} /><span><strong>${subjectName(finding)}</strong>
      <small>${t(`level.${finding.level}`)}, ${t(`watch.${finding.watch}`)}, ${t("alerts.since", { when: when(finding.since) })}</small></span></a></li>`)}</ul>`;
  return html`<button type="button" class="act unfold" aria-expanded=${open} onClick=${() => setOpen(!open)}>${title}</button>${open && list}`;
}

/** Who has it since when, gave it back, or left it until when and why; once where all of an entry say the same. */
function Answered({ findings: held }) {
  const said = [...new Set(held.map(answerWords))].filter(Boolean);
  const free = held.filter(({ state }) => state === "open").length;
  if (free > 0 && free < held.length) said.push(t("alerts.some_nobody", { n: free, m: held.length }));
  return said.map((said) => html`<p class="answered" key=${said}>${said}</p>`);
}

function answerWords(finding) {
  const who = (how) => whoWords(finding[`${how}_by`], finding[`${how}_by_said`]) ?? t("alerts.nobody_named");
  if (finding.state === "shelved") return t("alerts.left", { who: who("shelved"), when: when(finding.shelved_until), why: finding.shelved_why ?? "" });
  if (finding.state === "acknowledged") return t("alerts.taken", { who: who("acknowledged"), when: when(finding.acknowledged_at) });
  return finding.given_back_at ? t("alerts.given", { who: who("given_back"), when: when(finding.given_back_at) }) : "";
}

/** Whom it went on to, since nobody had it. */
function HandedOn({ findings }) {
  const same = (row) => findings.some((each) => each.watch === row.watch && each.subject.id === row.subject.id);
  const last = alerts().filter((row) => row.handed_on && same(row)).sort((a, b) => (a.handed_on.at < b.handed_on.at ? 1 : -1))[0];
  if (!last) return null;
  const { to, at } = last.handed_on;
  return html`<p class="answered">${t("alerts.handed_on", { who: person(to) ?? t("reminders.a_phone"), when: when(at) })}</p>`;
}
