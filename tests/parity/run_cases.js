// Runs a batch of cases through the phone's core; `twins.py` does the same in Python.
async (text) => {
  const names = ["alert_ids", "answers", "attribution", "bench", "boxes", "carrying", "chambers", "corrections", "facts", "grouping", "icalendar", "ids", "instants", "labels", "lot", "morning", "morning_text", "overlay", "proportions", "protocols", "rows", "solutions", "tender", "walk", "watches", "weather_facts", "winters"];
  const loaded = await Promise.all(names.map((name) => import(`/core/${name}.js`)));
  const core = Object.fromEntries(names.map((name, index) => [name, loaded[index]]));
  const BUCKET = "00000000-0000-7000-8000-0000000000b0";
  const { cases, rules, crops, sites } = JSON.parse(text);

  const about = (lot, events) => events.filter((event) => event.lot === lot
    || ["amended", "voided"].includes(event.kind)
    || (event.kind === "lot_started" && (event.data?.parents ?? []).includes(lot))
    || (event.kind === "lot_started" && event.data?.parent === lot)
    || (event.kind === "potted_on" && event.data?.into === lot));

  const look = (one, facts, now) => {
    const found = core.watches.evaluate(rules, one.kind === "life" ? "lot" : one.kind, facts, now, sites[one.site]);
    const ids = found.findings.map((finding) => core.alert_ids.alertId(facts.id, finding.watch, finding.since));
    return { now, ...found, ids };
  };
  const looks = (one, facts, now, around) => {
    const here = look(one, facts, now);
    const next = around ? here.next_deadline : null;
    const near = next ? [-1, 0, 1].map((by) => core.instants.toText(core.instants.toMs(next) + by)) : [];
    return [here, ...near.map((at) => look(one, facts, at))];
  };

  const bucketOf = (events) => {
    const tells = (event) => core.solutions.SOLUTION_KINDS.includes(event.kind);
    const named = (event) => tells(event) && event.data?.solution === BUCKET;
    const found = core.corrections.effective(events.filter((event) => named(event) || ["amended", "voided"].includes(event.kind)));
    return core.rows.goOn(core.solutions.newSolution(BUCKET), found.filter(tells));
  };

  const life = (one) => {
    const parents = Object.entries(one.parents).map(([id, events]) => core.lot.fold(id, about(id, events)));
    const inherited = core.lot.startFrom(parents);
    const mine = (events) => about(one.lot, events);
    const before = mine(one.events.slice(0, one.split));
    const after = mine(one.events.slice(one.split));
    const lot = core.lot.fold(one.lot, mine(one.events), inherited);
    const shot = core.overlay.snapshot(one.lot, before, inherited);
    const over = core.overlay.overlay(shot, after);
    const sure = after.filter((event) => !over.unconfirmed.includes(event.id));
    const tail = shot.tail.filter((event) => !sure.some((other) => other.id === event.id));
    const grown = core.overlay.grow(shot.checkpoint, [...tail, ...sure], shot.checkpoint_at);
    const whole = core.lot.fold(one.lot, [...before, ...sure], inherited);
    const child = core.lot.fold(one.child, about(one.child, one.events), core.lot.startFrom([lot]));
    const result = { lot, shot, over, grown, whole, child, inherited, stops: [] };
    const ordered = [...one.events].sort(core.corrections.foldOrder);
    for (const [count, now, around] of one.stops) {
      const then = core.lot.fold(one.lot, mine(ordered.slice(0, count)), inherited);
      if (!then) continue;
      const crop = (one.crops ?? crops)[then.crop] ?? null;
      const bucket = bucketOf(ordered.slice(0, count));
      const beside = (one.spreading ?? []).filter(([, since]) => since <= now);
      const home = one.home ? { ...one.home, offsets: sites[one.site].offsets } : null;
      const facts = core.facts.lotFacts(then, crop, one.place ?? { name: "Bench" }, bucket, beside, home);
      result.stops.push({
        facts,
        step: core.protocols.stepOf(then, crop),
        next: core.protocols.nextStep(then, crop),
        progress: core.protocols.progress(then, crop, now),
        bench: core.bench.benchRow(then, crop),
        bucket,
        state: core.solutions.solutionState(bucket, now),
        looks: looks(one, facts, now, around),
      });
    }
    return result;
  };

  const factsOf = (row) => {
    if (row.solution) return core.facts.solutionFacts(row.solution);
    if (row.phone) return core.facts.phoneFacts(row.phone);
    const standing = core.facts.standing(row.lots, row.left_at ?? null);
    if (row.nursery) return core.facts.nurseryFacts(row.nursery, standing, row.stock ?? undefined);
    const settings = core.chambers.settingsOf(row.place.chamber);
    const read = (state, [at, tempC]) => core.chambers.read(state, at, tempC, settings);
    const state = row.readings ? row.readings.reduce(read, core.chambers.newState()) : null;
    return core.facts.placeFacts({ ...row.place, chamber_state: state }, standing, row.stock ?? undefined);
  };
  const history = (one) => ({
    stops: one.stops.map(([index, now, around]) => {
      const facts = factsOf(one.rows[index]);
      return { facts, looks: looks(one, facts, now, around) };
    }),
  });

  const call = (one) => {
    try {
      const args = one.args.map((arg) => (arg?.hex ? Uint8Array.from(arg.hex.match(/../g), (byte) => parseInt(byte, 16)) : arg));
      return { value: core[one.module][one.name](...args) };
    } catch (error) {
      return { refused: error.constructor.name };
    }
  };

  const run = { life, call, place: history, nursery: history, phone: history, solution: history };
  return JSON.stringify(cases.map((one) => run[one.kind](one)));
}
