// @ts-check
/** One watch: what it does in words, its limits for the nursery, a place or a crop, and a trial of them. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { crops, one, places, storedRows } from "../store/house.js";
import { may } from "../store/may.js";
import { record } from "../store/record.js";
import { formOpened } from "../store/updates.js";
import { Choice, Toggle } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { Amount, Limits, readDraft, Thresholds } from "../ui/limits.js";
import { Select } from "../ui/number.js";
import { caseInWords, factName } from "../ui/rule_words.js";
import { changed, isChanged, reset, standsIn } from "../ui/rule_scope.js";
import { watchName } from "../ui/watch_words.js";
import { UndoBar } from "./place_done.js";
import { last, offerUndo, tellTrouble } from "./walking.js";
import { WatchTold } from "./watch_told.js";
import { WatchTrial } from "./watch_trial.js";
import { Page } from "../ui/page.js";

const NURSERY = { of: /** @type {"" | "places" | "crops"} */ (""), id: "" };

/** @param {{id: string}} props */
export function Watch({ id }) {
  const [scope, setScope] = useState(NURSERY);
  const rule = one("watch", id);
  if (!rule) return html`<${Page} name="watch" title="?" back="#/watches"><p class="large">${t("watch_page.unknown")}</p></${Page}>`;
  const here = scope.of && !scope.id ? NURSERY : scope;
  return html`<${Edited} key=${`${here.of}:${here.id}:${JSON.stringify(standsIn(rule, here))}`} rule=${rule} scope=${here} asked=${scope} onScope=${setScope} />`;
}

/** The rule as it ships, where this phone knows it. */
function shipped(rule) {
  const stored = storedRows().get("watch")?.get(rule.id);
  return stored?.ships ?? (stored?.shipped ? stored : null);
}

function Edited({ rule, scope, asked, onScope }) {
  const now = standsIn(rule, scope);
  const [draft, setDraft] = useState(now);
  const [error, setError] = useState("");
  const [tried, setTried] = useState("");
  const name = watchName(rule.id);
  const ships = shipped(rule);
  const owns = may("watch_changed") && !rule.fixed;
  const touched = JSON.stringify(draft) !== JSON.stringify(now);
  useEffect(() => (touched ? formOpened() : undefined), [touched]);
  const read = readDraft(draft);
  const write = (row, words) => record("watch_changed", null, row).then((event) => offerUndo([event], { label: name }, [words]), tellTrouble);
  const save = () => {
    setError(read ? "" : t("error.limits"));
    return read && write(changed(rule, scope, read), t("watch_page.saved"));
  };
  const back = isChanged(rule, scope, ships) && (scope.of || ships);
  const foot = (touched || last.value) && html`<${UndoBar} />${error && html`<p class="error" role="alert">${error}</p>`}
    ${touched && html`<div class="three"><button type="button" class="act" onClick=${() => setDraft(now)}>${t("watch_page.as_before")}</button>
      <button type="button" class="act" onClick=${() => (read ? setTried(JSON.stringify(read)) : setError(t("error.limits")))}>${t("trial.short")}</button>
      <button type="button" class="act main-act" onClick=${save}><strong>${t("settings.save")}</strong></button></div>`}`;
  return html`<${Page} name="watch" title=${name} back="#/watches" foot=${foot}>
    <${WatchTold} rule=${read ?? now} />
    ${rule.fixed && html`<p class="caution">${t("settings.watch_fixed")}</p>`}
    ${!owns && !rule.fixed && html`<p class="quiet">${t("watch_page.owners")}</p>`}
    ${owns && html`<section><h2>${t("settings.watch_limits")}</h2>
      <${For} rule=${rule} scope=${asked} onScope=${onScope} />
      <${Toggle} words=${t(draft.enabled === false ? "watch_page.off" : "watch_page.on")} on=${draft.enabled !== false} onToggle=${(on) => setDraft({ ...draft, enabled: on })} />
      ${draft.enabled !== false && html`<${Figures} draft=${draft} onChange=${setDraft} />`}
      ${back && html`<button type="button" class="act" onClick=${() => write(reset(rule, scope, ships), t("watch_page.back"))}>${t(scope.of ? "watch_page.reset_here" : "watch_page.reset")}</button>`}
    </section>`}
    ${owns && html`<${WatchTrial} key=${JSON.stringify(read)} rule=${read && changed(rule, scope, read)} touched=${touched} go=${tried !== "" && tried === JSON.stringify(read)} />`}
  </${Page}>`;
}

/** For whom the limits are: the whole nursery, one place, one kind. */
function For({ rule, scope, onScope }) {
  const ofLots = rule.subjects.includes("lot");
  const inPlaces = ofLots || rule.subjects.includes("place");
  if (!inPlaces) return null;
  const kinds = /** @type {[string, string][]} */ ([["", t("watch_page.nursery")], ["places", t("watch_page.place")], ...(ofLots ? [["crops", t("watch_page.crop")]] : [])]);
  const rows = scope.of === "places" ? places().map((row) => [row.id, row.name]) : crops().map((row) => [row.id, row.botanical]);
  const told = rows.map(([id, name]) => [id, rule[scope.of]?.[id] ? t("watch_page.own", { name }) : name]);
  return html`<${Choice} name=${t("settings.watch_for")} answers=${kinds} value=${scope.of} onChoose=${(of) => onScope({ of: of ?? "", id: "" })} />
    ${scope.of && html`<${Select} label=${t(`watch_page.which.${scope.of}`)} value=${scope.id} options=${[["", t("watch_page.choose")], ...told]} onChange=${(id) => onScope({ ...scope, id })} />`}`;
}

/** Every figure that the owner may move, case by case. */
function Figures({ draft, onChange }) {
  const put = (at, change) => onChange({ ...draft, cases: draft.cases.map((one, index) => (index === at ? { ...one, ...change } : one)) });
  const given = Object.entries(draft.given ?? {});
  return html`${draft.when && html`<${Thresholds} when=${draft.when} onChange=${(when) => onChange({ ...draft, when })} />`}
    ${given.map(([name, value]) => html`<${Amount} key=${name} label=${factName(`given.${name}`)} value=${value} step=${0.1} onChange=${(next) => onChange({ ...draft, given: { ...draft.given, [name]: next } })} />`)}
    ${draft.after && !draft.cases?.every((one) => one.after) && html`<${Limits} after=${draft.after} onChange=${(after) => onChange({ ...draft, after })} />`}
    ${(draft.cases ?? []).map((one, at) => html`<div class="case" key=${at}>${caseInWords(one) && html`<h3>${caseInWords(one)}</h3>`}
      ${one.when && html`<${Thresholds} when=${one.when} onChange=${(when) => put(at, { when })} />`}
      ${one.after && html`<${Limits} after=${one.after} onChange=${(after) => put(at, { after })} />`}</div>`)}`;
}
