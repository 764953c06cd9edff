// @ts-check
/** What is being mixed: the answers so far, what they come to, and how they are said. @module */
import { CannotMix, shown } from "../core/amounts.js";
import { DAY_MS, toMs } from "../core/instants.js";
import { planMix } from "../core/mixing.js";
import { ML_PER } from "../core/volumes.js";
import { t } from "../ui/html.js";
import { isUs } from "../ui/local.js";
import { say, unitWords } from "../ui/sentence.js";

const AGE_DAYS_MAX = 7300;

/** The trade's usual bucket, for a bottle whose label has not been read yet. */
export function usualMix() {
  const volume = isUs() ? { volume: 1, volume_unit: "us_gal" } : { volume: 4, volume_unit: "l" };
  return {
    product_strength: null, product_unit: null, bottle_age_days: null,
    wanted: 15, wanted_unit: "percent_by_volume", method: "make_up_to", why: "", ...volume,
  };
}

/** The bottle of last time as old as it is by now; its age is not known where it was not then. */
export function agedBottle({ product_strength, product_unit, bottle_age_days: days = null, kept_at: keptAt = null }, now) {
  const since = keptAt === null ? null : Math.max(0, Math.floor((toMs(now) - toMs(keptAt)) / DAY_MS));
  const age = days === null || since === null ? null : Math.min(AGE_DAYS_MAX, days + since);
  return { product_strength, product_unit, bottle_age_days: age };
}

/** The draft with new answers. A reason holds for the strength that it was given for. */
export function answer(draft, changes) {
  const kept = Object.keys(changes).length === 1 && "why" in changes ? draft : { ...draft, why: "" };
  return { ...kept, ...changes };
}

/**
 * What the answers come to: `{mixed}`, or `{says}` why not, with both `readings` of a bare ratio.
 * @param {any} draft
 */
export function reckon(draft) {
  try {
    return { mixed: planMix(draft) };
  } catch (refused) {
    if (!(refused instanceof CannotMix)) throw refused;
    return { says: say(refused.said), field: refused.field, readings: refused.readings.length ? refused.readings : null };
  }
}

/** "40 g/L chlorine". @param {any} draft */
export const labelWords = ({ product_strength: strength, product_unit: unit }) =>
  unit ? t(`mix.label.${unit}`, { n: strength }) : t("mix.not_read");

/** "15 % of the bottle". @param {any} draft */
export const wantedWords = ({ wanted, wanted_unit: unit }) => t(`mix.wanted.${unit}`, { n: typeof wanted === "number" ? shown(wanted, 6) : wanted });

/**
 * The unit beside millilitres that the person pours by, or null: for US measures the one that gives
 * a figure of a handy size.
 * @param {string} unit  of the volume that was asked for
 * @param {number} ml
 */
export function ownUnit(unit, ml) {
  if (!isUs() && !unit.startsWith("us_")) return unit === "l" || unit === "ml" ? null : unit;
  return ["us_gal", "us_cup"].find((one) => ml >= ML_PER[one]) ?? "us_fl_oz";
}

/** "4 L" of a draft's volume or of millilitres. @param {any} volume */
export function volumeWords(volume) {
  if (typeof volume !== "number") return `${shown(volume.volume, 6)} ${unitWords(volume.volume_unit)}`;
  return volume >= 1000 ? `${shown(volume / 1000, 4)} L` : `${shown(volume, 4)} mL`;
}
