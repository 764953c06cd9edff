// @ts-check
/** Looks: twin of `domain/looks.py`. What was said, what was left unsaid, and runs. @module */
const LOOKS_MAX = 8;
const SERIES_MAX = 32;
const OBSERVED = [
  "moisture", "fungus", "sign", "sprouted_percent", "temp_c", "root_fill", "health",
  "surface_growth", "weeds", "pest", "pest_count", "smell", "turned", "picked_out", "swelled",
  "swelled_of", "new_flush",
];

/** Note a value said at an instant: the latest one, and the run it belongs to. */
export function observe(lot, field, value, at) {
  if (value !== null) lot.last[field] = { value, at };
  const series = (lot.series[field] ??= []);
  if (!series.length || series.at(-1)[1] !== value) {
    series.push([at, value]);
    if (series.length > SERIES_MAX) series.splice(0, series.length - SERIES_MAX);
  }
}

/** Break a field's run, where there is one: what was last said of it holds no more. */
export function unknown(lot, field, at) {
  if (lot.series[field]) observe(lot, field, null, at);
}

/** Note what a test measured; each test stands in the series, also one like that before it. */
export function noteTest(lot, field, value, at) {
  lot.last[field] = { value, at };
  lot.series[field] = [...(lot.series[field] ?? []), [at, value]].slice(-SERIES_MAX);
}

/** Apply a `looked`. A field left out changes nothing; a look with nothing said is a look. */
export function look(lot, event) {
  const data = event.data ?? {};
  /** @type {Record<string, any>} */
  const said = {};
  for (const name of OBSERVED) if (data[name] != null) said[name] = data[name];
  for (const [field, value] of Object.entries(said)) observe(lot, field, value, event.at);
  lot.last_look = {
    at: event.at,
    event: event.id,
    by: event.by ?? null,
    as_expected: data.as_expected === true,
    note: data.note ?? null,
    moisture: null,
    fungus: null,
    sprouted_percent: null,
    ...said,
  };
  lot.looks = [...lot.looks, lot.last_look].slice(-LOOKS_MAX);
}

/** Break a dry run: the lot has had water, whatever the last look said. */
export function watered(lot, event) {
  observe(lot, "moisture", null, event.at);
}
