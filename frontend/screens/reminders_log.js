// @ts-check
/** The log of messages in words: what was sent to whom, when, and whether it was taken. @module */
import { one, person } from "../store/house.js";
import { log } from "../store/reaching.js";
import { html, t } from "../ui/html.js";
import { when } from "../ui/local.js";

/** @param {{onMore: () => void}} props */
export function Log({ onMore }) {
  if (!log.value) return null;
  const messages = grouped(log.value.rows);
  return html`<section><h2>${t("reminders.log")}</h2>
    ${messages.length === 0 && html`<p>${t("reminders.log_empty")}</p>`}
    <ol class="sent">${messages.map((rows) => html`<${Sent} key=${rows[0].id} rows=${rows} />`)}</ol>
    ${log.value.more && html`<button type="button" class="act" onClick=${onMore}>${t("reminders.log_more")}</button>`}</section>`;
}

/** One message to one person, with what it told of. */
function Sent({ rows }) {
  const [row] = rows;
  const id = row.to.slice(row.to.indexOf(":") + 1);
  const who = person(id) ?? row.to_name ?? t("reminders.a_phone");
  const by = t(`reminders.by.${row.channel}`);
  const place = one("place", row.about?.place)?.name;
  const what = row.about ? row.about.says : t(`reminders.kind.${row.kind}`);
  const asked = row.state === "taken" && ["next", "holder", "given"].includes(row.kind) ? t(`reminders.kind.${row.kind}`) : "";
  return html`<li class=${`sent-one sent-${row.state}`}><p><strong>${who}</strong> <small>${[by, place].filter(Boolean).join(" · ")}</small></p>
    <p>${what}${rows.length > 1 && html` <strong>${t("reminders.and_more", { n: rows.length - 1 })}</strong>`}</p>
    <p class="sent-state">${mark(row.state)} ${outcome(row)}${asked && html` <small>${asked}</small>`}</p></li>`;
}

/** What came of it, in words. */
function outcome(row) {
  const why = row.why ? t(`reminders.why.${row.why}`) : "";
  const at = when(row.ended_at ?? row.due_at);
  const { asked, taken } = row.phones;
  if (row.state === "waiting" && taken) return t("reminders.state.part", { n: taken, of: asked, at, why });
  if (row.state === "waiting" && why) return t("reminders.state.again", { why, at });
  if (row.state === "waiting" && row.kind === "next") return t("reminders.state.next", { at });
  return t(`reminders.state.${row.state}`, { why, at });
}

const mark = (state) => ({ taken: "✓", failed: "✕", not_sent: "–" })[state] ?? "…";

/** Rows of one message with one end belong together. */
function grouped(rows) {
  const found = new Map();
  for (const row of rows) {
    const key = row.message ? `${row.message}|${row.state}|${row.why}` : row.id;
    found.set(key, [...(found.get(key) ?? []), row]);
  }
  return [...found.values()];
}
