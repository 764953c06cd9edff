// @ts-check
/** A move of the nursery's name: this phone's way over, and the owner's sight of all phones. @module */
import { setMeta } from "./database.js";
import { pending, refreshQueue, trayCount, unsentPhotos, wayMade } from "./house.js";
import { MINUTE_MS } from "../core/instants.js";
import { ask } from "./server.js";
import { tellTabs } from "./tabs.js";

/**
 * The link by which this phone goes over to the new name, good once; null where something here is
 * not on the server yet, for it would be left behind. From now on nothing is recorded here: the phone
 * that follows may stand there before this one hears of it, and the old name may end before that.
 * @returns {Promise<{link: string, minutes: number} | null>}
 * @throws {import("./server.js").Failure}
 */
export async function wayOver() {
  if (await isAnythingHere()) return null;
  const made = await ask("POST", "/api/v1/name-move/link", {});
  // The answer may have taken a while, and another tab recorded meanwhile.
  if (await isAnythingHere()) return null;
  await keepWay(Date.now() + made.minutes * MINUTE_MS);
  return made;
}

/** Whether anything is not on the server yet, as it stands on the disk: another tab may have recorded a moment ago. */
async function isAnythingHere() {
  await refreshQueue();
  return pending.value.length + trayCount.value + unsentPhotos.value.length > 0;
}

/** Record here on: the way over was not gone. */
export const stayHere = () => keepWay(null);

/** In every tab, or the others would go on recording here. @param {number | null} until */
async function keepWay(until) {
  await setMeta("way_made", until);
  wayMade.value = until;
  tellTabs("synced");
}

/** Which phone stands where. @returns {Promise<any[]>} @throws {import("./server.js").Failure} */
export const standing = async () => (await ask("GET", "/api/v1/name-move")).phones;

/** End the old name. @param {string[]} leave phones that stay behind @throws {import("./server.js").Failure} */
export const endOldName = (leave) => ask("POST", "/api/v1/name-move/end", { leave });
