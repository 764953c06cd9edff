// @ts-check
/** The nursery itself: its name, time zone, hemisphere and units. @module */
import { useState } from "../vendor/preact-hooks.js";
import { computed, signal } from "../vendor/signals.js";
import { nextSpan, ownStarts, SEASONS, seasonRule } from "../core/seasons.js";
import { nursery, session } from "../store/house.js";
import { may } from "../store/may.js";
import { record } from "../store/record.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { date, today } from "../ui/local.js";
import { Field, NAME_MAX } from "../ui/number.js";
import { Shown } from "../ui/only.js";
import { tellTrouble } from "./walking.js";
import { Page } from "../ui/page.js";

// What the server derives is no part of what a person sets.
const DERIVED = ["offsets", "answers", "closed_at", "closed_skipped", "closed_by", "revision", "last_read", "forecasts", "cold", "warm", "heat", "last_backup_at", "opened_at", "shipped", "folded_at"];

/** What people set of the nursery, as a change of it holds it whole: what is empty was never said. @param {any} row */
export const plainNursery = (row) => Object.fromEntries(Object.entries(row).filter(([name, value]) => !DERIVED.includes(name) && value !== ""));

/** What was changed here and not saved yet: a way elsewhere and back loses nothing of it. It is one person's: it goes with them. */
const unsaved = signal(/** @type {any} */ ({}));
const change = (/** @type {any} */ more) => {
  unsaved.value = { ...unsaved.value, ...more };
};
const drop = () => {
  unsaved.value = {};
};
const whoseHere = computed(() => JSON.stringify([session.value?.role, session.value?.proved, session.value?.person]));
whoseHere.subscribe(drop);

export function Nursery() {
  const row = nursery();
  const [zone] = useState(phoneZone);
  const [error, setError] = useState("");
  const draft = unsaved.value;
  if (!row) return html`<${Page} name="nursery" title=${t("settings.nursery")} back="#/settings"><p class="large">${t("round.not_here_yet")}</p></${Page}>`;
  // Until somebody has said them, neither the zone nor the hemisphere of a new record is the nursery's own.
  const now = { ...row, ...(row.name ? {} : { timezone: zone, hemisphere: undefined }), ...draft };
  const set = (name) => (value) => value !== undefined && change({ [name]: value });
  const changed = Object.keys(draft).length > 0;
  const save = async () => {
    if (!now.hemisphere) {
      setError(t("nursery.which_half"));
      return;
    }
    if (!isZone(now.timezone)) {
      setError(t("error.zone", { zone: now.timezone }));
      return;
    }
    const spot = { latitude_deg: degreesOf(now.latitude_deg), longitude_deg: degreesOf(now.longitude_deg) };
    if (!within(spot.latitude_deg, 90) || !within(spot.longitude_deg, 180)) {
      setError(t("error.spot"));
      return;
    }
    const yearly = seasonsOf(now);
    if (!within(yearly.elevation_m, 9000) || (yearly.elevation_m ?? 0) < -500) {
      setError(t("error.elevation"));
      return;
    }
    if (yearly.season_starts && !ownStarts(yearly)) {
      setError(t("error.seasons"));
      return;
    }
    setError("");
    await record("nursery_changed", null, plainNursery({ ...now, ...spot, ...yearly })).then(drop, tellTrouble);
  };
  // The latitude changes sides with the hemisphere.
  const choose = (side) => {
    const degrees = degreesOf(now.latitude_deg);
    if (!side) return;
    const latitude = Number.isFinite(degrees) && degrees !== null ? Math.abs(degrees) * (side === "south" ? -1 : 1) : now.latitude_deg;
    change({ hemisphere: side, latitude_deg: latitude });
  };
  const leaveIt = () => {
    setError("");
    drop();
  };
  const foot = changed && html`${error && html`<p class="error" role="alert">${error}</p>`}
    <div class="row"><button type="button" class="act" onClick=${leaveIt}>${t("nursery.drop")}</button>
      <button type="button" class="act main-act" onClick=${save}><strong>${t("settings.save")}</strong></button></div>`;
  return html`<${Page} name="nursery" title=${t("settings.nursery")} back="#/settings" foot=${foot}><${Shown} what="nursery_changed">
    <${Field} label=${t("settings.name")} value=${now.name} onInput=${set("name")} max=${NAME_MAX} />
    <${Field} label=${t("settings.timezone")} value=${now.timezone} onInput=${set("timezone")} />
    ${now.timezone !== zone && may("nursery_changed") && html`<button type="button" class="act" onClick=${() => set("timezone")(zone)}>${t("nursery.zone_here", { zone })}</button>`}
    <${Choice} name=${t("settings.hemisphere")} answers=${["south", "north"].map((one) => [one, t(`settings.${one}`)])} value=${now.hemisphere} onChoose=${choose} />
    <div class="fields pair"><${Field} label=${t("settings.latitude")} value=${now.latitude_deg} inputmode="text" onInput=${set("latitude_deg")} />
      <${Field} label=${t("settings.longitude")} value=${now.longitude_deg} inputmode="text" onInput=${set("longitude_deg")} /></div>
    <${Field} label=${t("settings.elevation")} value=${now.elevation_m} inputmode="text" onInput=${set("elevation_m")} />
    ${now.hemisphere && html`<${Seasons} now=${now} onChange=${set("season_starts")} />`}
    <${Choice} name=${t("settings.units")} answers=${["metric", "us"].map((one) => [one, t(`settings.${one}`)])} value=${now.units} onChoose=${set("units")} />
    <${Field} label=${t("settings.poisons_phone")} value=${now.poisons_phone} type="tel" onInput=${set("poisons_phone")} /></${Shown}>
    <a class="act" href="#/hours"><strong>${t("hours.title")}</strong><small>${t("hours.what")}</small></a>
  </${Page}>`;
}

/** The owner's own first days, and what the seasons are by them, or by hemisphere and latitude. */
function Seasons({ now, onChange }) {
  const own = now.season_starts ?? {};
  const place = { ...now, ...seasonsOf(now), latitude_deg: degreesOf(now.latitude_deg) };
  const { rule, moved_days: moved } = seasonRule(place);
  const spans = SEASONS.map((season) => [season, nextSpan(season, today(), place)]);
  const how = t(moved < 0 ? "season.earlier" : "season.later");
  return html`<fieldset class="choice seasons"><legend>${t("settings.seasons")}</legend><p class="quiet">${t("settings.seasons_how")}</p>
    <div class="fields pair">${SEASONS.map((season) => html`<${Field} key=${season} label=${t(`settings.starts.${season}`)} value=${own[season]}
      onInput=${(text) => onChange({ ...own, [season]: text.trim() })} />`)}</div>
    <p>${t(`season.${rule}`, { n: Math.abs(moved), how })}</p>
    <ul>${spans.filter(([, span]) => span).map(([season, span]) => html`<li key=${season}>${t("settings.season_is", { season: t(`settings.starts.${season}`), from: date(span.from), to: date(span.to) })}</li>`)}</ul></fieldset>`;
}

/** Height and own seasons as they are kept: null where nothing is typed. */
function seasonsOf(now) {
  const typed = Object.entries(now.season_starts ?? {}).filter(([, day]) => day);
  return { elevation_m: degreesOf(now.elevation_m), season_starts: typed.length ? Object.fromEntries(typed) : null };
}

/** What was typed as degrees: south and west negative; null where nothing is. */
function degreesOf(typed) {
  const text = String(typed ?? "").trim().replace(",", ".").replace("−", "-");
  return text === "" ? null : Number(text);
}

const within = (degrees, most) => degrees === null || Math.abs(degrees) <= most;

/** The time zone by which this phone goes. */
const phoneZone = () => new Intl.DateTimeFormat().resolvedOptions().timeZone;

function isZone(name) {
  try {
    return Boolean(new Intl.DateTimeFormat("en", { timeZone: name }));
  } catch (error) {
    if (error instanceof RangeError) return false;
    throw error;
  }
}
