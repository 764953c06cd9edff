// @ts-check
/** A weather forecast in this house's own plain form: twin of `domain/forecast_file.py`. @module */
import { number } from "./amounts.js";
import { sentence } from "./mixing_words.js";

const ROWS_MAX = 31;
const TEXT_MAX = 65_536;
const TEMP_C_LIMIT = 60;
const KINDS = { low_c: "forecast_low_c", high_c: "forecast_high_c" };
const DAY_OF = { low_c: "for_night_of", high_c: "for_day" };
const FIGURE = /^[+-]?\d{1,3}(\.\d{1,6})?$/;
const DAY = /^\d{4}-\d\d-\d\d$/;

/**
 * {readings, problems}: the data of a `read` each, and a sentence for each bad row.
 * @param {string} text
 * @returns {{readings: Record<string, any>[], problems: import("./mixing_words.js").Sentence[]}}
 */
export function readForecast(text) {
  if (text.length > TEXT_MAX) return { readings: [], problems: [sentence("forecast_long", { most: String(TEXT_MAX) })] };
  const plain = text.replace(/^\uFEFF/, "").trim();
  const rows = plain.startsWith("{") ? jsonRows(plain) : csvRows(plain);
  if (!rows) return { readings: [], problems: [sentence("forecast_form")] };
  if (rows.length > ROWS_MAX) return { readings: [], problems: [sentence("forecast_rows", { most: String(ROWS_MAX) })] };
  const readings = [];
  const problems = [];
  for (const [index, row] of rows.entries()) {
    const found = readingsOf(row);
    if (found) readings.push(...found);
    else problems.push(sentence("forecast_row", { row: String(index + 1) }));
  }
  if (!readings.length && !problems.length) problems.push(sentence("forecast_form"));
  return { readings, problems };
}

/** @returns {any[] | null} */
function jsonRows(text) {
  let given;
  try {
    given = JSON.parse(text);
  } catch (error) {
    if (error instanceof SyntaxError) return null;
    throw error;
  }
  return Array.isArray(given?.forecast) ? given.forecast : null;
}

/** @returns {any[] | null} */
function csvRows(text) {
  const lines = text.split(/\r\n|\n|\r/).map((line) => line.trim()).filter(Boolean);
  const names = (lines[0] ?? "").split(",").map((name) => name.trim());
  if (!names.includes("date") || !names.some((name) => name in KINDS)) return null;
  return lines.slice(1).map((line) => {
    const cells = line.split(",").map((cell) => cell.trim());
    if (cells.length !== names.length) return null;
    return Object.fromEntries(names.map((name, index) => [name, name in KINDS ? figure(cells[index]) : cells[index]]));
  });
}

function figure(cell) {
  if (cell === "") return null;
  return FIGURE.test(cell) ? Number(cell) : cell;
}

function readingsOf(given) {
  const object = given !== null && typeof given === "object" && !Array.isArray(given) ? given : {};
  if (typeof object.date !== "string" || !isDay(object.date)) return null;
  const found = [];
  for (const [name, kind] of Object.entries(KINDS)) {
    const value = object[name] ?? null;
    if (value === null) continue;
    if (number(value) === null || Math.abs(value) > TEMP_C_LIMIT) return null;
    found.push({ quantity_kind: kind, value, [DAY_OF[name]]: object.date });
  }
  return found.length ? found : null;
}

function isDay(text) {
  return DAY.test(text) && text >= "0001-01-01" && new Date(`${text}T00:00:00Z`).toJSON()?.slice(0, 10) === text;
}
