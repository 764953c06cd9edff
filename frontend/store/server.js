// @ts-check
/**
 * Asking the server: every request has a time limit, and whatever goes wrong comes out as a
 * `Failure` that says which kind it is.
 * @module
 */
import { localText, measure } from "./clock.js";

const LIMIT_MS = 20_000;
// The server itself stops looking before that, and says how far it came.
const PREVIEW_LIMIT_MS = 40_000;
const KINDS = {
  401: "signed-out", 403: "not-allowed", 413: "too-much", 400: "bad", 404: "bad", 405: "bad",
  406: "bad", 409: "bad", 415: "bad", 422: "bad", 500: "broken",
};

/**
 * @typedef {"signed-out" | "not-allowed" | "too-much" | "bad" | "broken" | "unreachable"} FailureKind
 * `bad`: this request will never be taken; `broken`: the server stumbled over it; `unreachable`:
 * it was not heard, or is to come again later.
 */

/** A request that came to nothing. */
export class Failure extends Error {
  /**
   * @param {FailureKind} kind
   * @param {string} detail
   * @param {{problem?: any, retryAfterMs?: number | null}} [more] `problem` the server's own words
   */
  constructor(kind, detail, { problem = null, retryAfterMs = null } = {}) {
    super(detail);
    Object.assign(this, { kind, problem, retryAfterMs });
    /** @type {FailureKind} */
    this.kind = kind;
  }
}

/**
 * Ask, and return the answer's JSON. Each question says this phone's own time: where the server's is in
 * doubt, what is asked for is dated by it.
 * @param {string} method
 * @param {string} path
 * @param {any} [body]
 * @param {{signal?: AbortSignal, limitMs?: number}} [how]
 * @returns {Promise<any>}
 * @throws {Failure}
 */
export async function ask(method, path, body, how = {}) {
  const sentMs = Date.now();
  const headers = { "Lathhouse-Sent-At": localText(new Date(sentMs)), ...(body !== undefined && { "Content-Type": "application/json" }) };
  const answer = await request(method, path, { ...how, headers, body: JSON.stringify(body) }, (response) => response.json());
  if (answer?.server_time) measure(sentMs, Date.now(), answer.server_time);
  return answer;
}

/**
 * Send a request, and read its answer within the same limit.
 * @param {string} method
 * @param {string} path
 * @param {{signal?: AbortSignal, limitMs?: number, headers?: Record<string, string>, body?: any, priority?: "low"}} how
 * @param {(response: Response) => any} read
 * @returns {Promise<any>}
 * @throws {Failure}
 */
export async function request(method, path, { signal, limitMs = LIMIT_MS, ...sent }, read = () => null) {
  const limit = AbortSignal.timeout(limitMs);
  try {
    const response = await fetch(path, {
      ...sent,
      method,
      credentials: "same-origin",
      // A sign-in page of some strange network is no answer of ours.
      redirect: "error",
      signal: signal ? AbortSignal.any([signal, limit]) : limit,
    });
    if (!response.ok) throw await failure(response);
    return await read(response);
  } catch (error) {
    if (error instanceof Failure) throw error;
    throw new Failure("unreachable", String(error?.message ?? error));
  }
}

/** @param {Response} response */
async function failure(response) {
  const kind = KINDS[response.status] ?? "unreachable";
  const isProblem = response.headers.get("Content-Type")?.startsWith("application/problem+json");
  // The answer to a HEAD says no more than its status.
  const said = isProblem ? await response.text() : "";
  const problem = said ? JSON.parse(said) : null;
  const seconds = Number(response.headers.get("Retry-After"));
  const retryAfterMs = seconds > 0 ? seconds * 1000 : null;
  return new Failure(kind, problem?.detail ?? `the server answered ${response.status}`, { problem, retryAfterMs });
}

/** The history: a page of a lot's events, or of all. */
export function history(lot = null, after = null, limit = 200) {
  const query = new URLSearchParams({ limit: String(limit) });
  if (lot) query.set("lot", lot);
  if (after) query.set("after", after);
  return ask("GET", `/api/v1/events?${query}`);
}

/** What is back to normal since so many days, the latest first: `{alerts, more}`. @param {number} days */
export const alertsPast = (days) => ask("GET", `/api/v1/alerts/past?days=${days}`);

/** Which watches rang how often, and what came of it. @param {number} days */
export const alertFigures = (days) => ask("GET", `/api/v1/alerts/figures?days=${days}`);

/** What a rule would have raised on this nursery's own records. @param {any} rule @param {number} days */
export const previewWatch = (rule, days) => ask("POST", `/api/v1/watches/${encodeURIComponent(rule.id)}/preview`, { rule, days }, { limitMs: PREVIEW_LIMIT_MS });
