// @ts-check
/** Opens the house as the app does, and hands the store's modules to the test. */
import * as clock from "/store/clock.js";
import * as database from "/store/database.js";
import * as house from "/store/house.js";
import * as keeping from "/store/keeping.js";
import * as record from "/store/record.js";
import * as saved from "/store/saved_file.js";
import * as server from "/store/server.js";
import * as session from "/store/session.js";
import { startHouse } from "/store/start.js";
import * as tray from "/store/tray.js";
import * as updates from "/store/updates.js";

const query = new URLSearchParams(location.search);
const began = performance.now();
/** Findings on a subject as {watch: level}. */
const watches = (key) => Object.fromEntries((house.findings.value.get(key) ?? []).map((one) => [one.watch, one.level]));
const phone = { clock, database, house, keeping, record, saved, server, session, tray, updates, watches };
Object.assign(window, { phone });
await house.openHouse();
Object.assign(phone, { opened_ms: performance.now() - began });
const limits = { request_ms: Number(query.get("request_ms") ?? 20_000), watchdog_ms: Number(query.get("watchdog_ms") ?? 60_000) };
Object.assign(phone, { sync: query.has("still") ? null : startHouse(limits) });
if (query.has("worker")) await updates.watchForUpdates();
document.title = "ready";
