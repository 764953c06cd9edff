// @ts-check
/** What an alert is about: its subject's name, the screen that opens on it, what answers it. @module */
import { lots, nursery, one } from "../store/house.js";
import { t } from "./html.js";

const WAYS = { place: (id) => `#/walk/${encodeURIComponent(id)}`, solution: (id) => `#/tag/${id}` };

/** The screen of what an alert is about, or null where it has none. */
export function wayTo({ watch, subject }) {
  if (subject.kind === "lot") return lots.value.has(subject.id) ? `#/lot/${subject.id}` : null;
  if (watch.startsWith("frost-") || watch === "cover-left-on") return "#/frost";
  if (watch.startsWith("chamber-")) return `#/fridge/${encodeURIComponent(subject.id)}`;
  return WAYS[subject.kind]?.(subject.id) ?? null;
}

/** The name of what an alert is about. */
export function subjectName({ subject }) {
  if (subject.kind === "lot") return lots.value.get(subject.id)?.label ?? t("lot.elsewhere");
  if (subject.kind === "nursery") return nursery()?.name || t("rule.the_nursery");
  const row = one(subject.kind, subject.id);
  return row?.name ?? row?.label ?? (subject.kind === "phone" ? t("alerts.phone_nameless") : subject.id.slice(0, 8));
}

/** What an answer to a finding names: `{lot, data}` of its event. */
export function aimOf({ watch, subject }) {
  const isLot = subject.kind === "lot";
  return { lot: isLot ? subject.id : null, data: { watch, ...(isLot ? {} : { [subject.kind]: subject.id }) } };
}
