// @ts-check
/**
 * Calendar text (RFC 5545): twin of `domain/icalendar.py`, so that a phone without signal can hand
 * a timer to its own calendar.
 * @module
 */
import { HOUR_MS, nextDay, toMs, toText } from "./instants.js";

const PRODID = "-//Lathhouse//Rounds//EN";
const LINE_OCTETS = 75;
const ENTRY_MS = HOUR_MS / 4;
const ASK_AGAIN = "PT1H";
const UTF8 = new TextEncoder();

/**
 * @typedef {{uid: string, starts_at?: string, day?: string, summary: string, description?: string,
 *   location?: string, url?: string, changed_at?: string, sequence?: number, cancelled?: boolean,
 *   alarm?: boolean | string | null}} Entry `day` for an entry of the whole day
 */

/**
 * A VCALENDAR with one VEVENT an entry, lines ended by CRLF and folded at 75 octets.
 * @param {string} name shown as the calendar's name
 * @param {Entry[]} entries
 * @param {string | null} madeAt canonical text, for DTSTAMP (section 3.8.7.2); null for a feed
 */
export function calendar(name, entries, madeAt) {
  const feed = [`REFRESH-INTERVAL;VALUE=DURATION:${ASK_AGAIN}`, `X-PUBLISHED-TTL:${ASK_AGAIN}`];
  const lines = [
    "BEGIN:VCALENDAR", "VERSION:2.0", `PRODID:${PRODID}`, "CALSCALE:GREGORIAN",
    ...(madeAt ? ["METHOD:PUBLISH"] : feed), `X-WR-CALNAME:${escape(name)}`,
    ...entries.flatMap((entry) => eventLines(entry, madeAt)),
    "END:VCALENDAR",
  ];
  return lines.map((line) => `${foldLine(line)}\r\n`).join("");
}

/** @param {Entry} entry @param {string | null} madeAt */
function eventLines(entry, madeAt) {
  const lines = ["BEGIN:VEVENT", `UID:${escape(entry.uid)}`];
  lines.push(`DTSTAMP:${utc(madeAt || (entry.changed_at ?? ""))}`, ...times(entry), `SUMMARY:${escape(entry.summary)}`);
  if (entry.description) lines.push(`DESCRIPTION:${escape(entry.description)}`);
  if (entry.location) lines.push(`LOCATION:${escape(entry.location)}`);
  if (entry.url) lines.push(`URL:${entry.url}`);
  if (entry.changed_at) lines.push(`LAST-MODIFIED:${utc(entry.changed_at)}`);
  lines.push(`SEQUENCE:${entry.sequence ?? 0}`, "TRANSP:TRANSPARENT");
  lines.push(entry.cancelled ? "STATUS:CANCELLED" : "STATUS:CONFIRMED");
  const alarm = entry.alarm === undefined ? "PT0S" : entry.alarm;
  if (alarm && !entry.cancelled) {
    lines.push("BEGIN:VALARM", "ACTION:DISPLAY", `TRIGGER:${typeof alarm === "string" ? alarm : "PT0S"}`);
    lines.push(`DESCRIPTION:${escape(entry.summary)}`, "END:VALARM");
  }
  return [...lines, "END:VEVENT"];
}

/** When an entry begins and ends; a day ends where the next begins (section 3.6.1). @param {Entry} entry */
function times({ day, starts_at }) {
  if (day) {
    const [begin, end] = [day, nextDay(day)].map((one) => one.replaceAll("-", ""));
    return [`DTSTART;VALUE=DATE:${begin}`, `DTEND;VALUE=DATE:${end}`];
  }
  const begin = starts_at ?? "";
  return [`DTSTART:${utc(begin)}`, `DTEND:${utc(toText(toMs(begin) + ENTRY_MS))}`];
}

/** Canonical text as a date with UTC time (section 3.3.5, form 2). @param {string} instant */
export function utc(instant) {
  return `${instant.slice(0, 19).replaceAll("-", "").replaceAll(":", "")}Z`;
}

/** A TEXT value escaped (section 3.3.11): backslash first; a colon is left alone. @param {string} text */
export function escape(text) {
  return text.replaceAll("\r\n", "\n").replaceAll("\r", "\n")
    .replaceAll("\\", "\\\\").replaceAll(";", "\\;").replaceAll(",", "\\,").replaceAll("\n", "\\n");
}

/** A content line folded at 75 octets without cutting a character (section 3.1). @param {string} line */
export function foldLine(line) {
  const parts = [];
  let part = "";
  let octets = 0;
  for (const character of line) {
    const size = UTF8.encode(character).length;
    if (octets + size > LINE_OCTETS) {
      parts.push(part);
      part = " ";
      octets = 1;
    }
    part += character;
    octets += size;
  }
  return [...parts, part].join("\r\n");
}
