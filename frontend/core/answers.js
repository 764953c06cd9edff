// @ts-check
/** What people answer to an alert: they have it, leave it, or give it back. Twin of `domain/answers.py`. @module */
import { MINUTE_MS, toMs, toText } from "./instants.js";
import { instantMs } from "./rule_terms.js";

const MOST_URGENT = 1;
/** How long what is at its worst may be left. Ours: until the next person is told of it. */
export const RESPOND_MS = 30 * MINUTE_MS;

/** The answers to a watch after one more, in the order of their time. See the Python twin. */
export function withAnswer(answers, how, answer) {
  if (how !== "given_back") return { ...answers, [how]: answer };
  const ended = ["shelved", ...(answers.acknowledged && answers.acknowledged.by === answer.by ? ["acknowledged"] : [])];
  if (!ended.some((name) => name in answers)) return answers;
  return { ...Object.fromEntries(Object.entries(answers).filter(([name]) => !ended.includes(name))), [how]: answer };
}

/** The state that people's answers give a finding, and when that ends. See the Python twin. */
export function answered(rule, facts, one, nowMs, site) {
  const answers = facts.answers?.[rule.id] ?? {};
  const { deferred } = answers;
  if (deferred && rule.fixed !== true) {
    const until = instantMs(deferred.until, site);
    if (until !== null && nowMs < until) return [null, until];
    if (until === null && toMs(deferred.at) >= one.since) return [null, null];
  }
  const [haveIt, shelved, given] = ["acknowledged", "shelved", "given_back"].map((how) => ofThis(answers[how], one.since));
  /** @type {Record<string, any>} */
  const state = { state: "open" };
  if (haveIt) Object.assign(state, { state: "acknowledged", ...told("acknowledged", haveIt) });
  else if (given && !shelved) Object.assign(state, told("given_back", given));
  const ends = shelved ? leftUntil(rule, one, shelved, site) : null;
  const takenUp = shelved && haveIt && haveIt.at >= shelved.at;
  if (shelved && !takenUp && ends !== null && nowMs < ends) {
    Object.assign(state, { state: "shelved", ...told("shelved", shelved), shelved_until: toText(ends), shelved_why: shelved.why ?? null });
    return [state, ends];
  }
  return [state, null];
}

const ofThis = (answer, sinceMs) => (answer && toMs(answer.at) >= sinceMs ? answer : null);
const told = (how, { at, by, by_said: said }) => ({ [`${how}_at`]: at, [`${how}_by`]: by, ...(said ? { [`${how}_by_said`]: true } : {}) });

function leftUntil(rule, one, shelved, site) {
  const until = instantMs(shelved.until, site);
  const most = leftAtMost(one.priority ?? rule.priority, one.times ?? [], toMs(shelved.at));
  return until === null || most === null ? until : Math.min(until, most);
}

/**
 * Until when something may be left at an instant, or null where that is anybody's own.
 * @param {number | undefined} priority @param {number[]} timesMs when its levels are reached @param {number} atMs
 */
export function leftAtMost(priority, timesMs, atMs) {
  if (priority !== MOST_URGENT) return null;
  const ahead = timesMs.filter((at) => at > atMs);
  return ahead.length ? Math.min(...ahead) : atMs + RESPOND_MS;
}
