// @ts-check
/** The sync under way, for a screen's "try now". @module */

/** @type {{nudge: (why?: string) => void} | null} */
let sync = null;

/** Remember the sync that `app.js` started. */
export function keep(started) {
  sync = started;
}

/** Try to send and fetch now. */
export function tryNow() {
  sync?.nudge("asked");
}
