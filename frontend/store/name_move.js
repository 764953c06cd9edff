// @ts-check
/** A move of the nursery's name: this phone's way over, and the owner's sight of all phones. @module */
import { pending, refreshQueue, trayCount, unsentPhotos } from "./house.js";
import { ask } from "./server.js";

/**
 * The link by which this phone goes over to the new name, good once; null where something here is
 * not on the server yet, for it would be left behind.
 * @returns {Promise<{link: string, minutes: number} | null>}
 * @throws {import("./server.js").Failure}
 */
export async function wayOver() {
  // As it stands on the disk: another tab may have recorded something a moment ago.
  await refreshQueue();
  if (pending.value.length + trayCount.value + unsentPhotos.value.length > 0) return null;
  return ask("POST", "/api/v1/name-move/link", {});
}

/** Which phone stands where. @returns {Promise<any[]>} @throws {import("./server.js").Failure} */
export const standing = async () => (await ask("GET", "/api/v1/name-move")).phones;

/** End the old name. @param {string[]} leave phones that stay behind @throws {import("./server.js").Failure} */
export const endOldName = (leave) => ask("POST", "/api/v1/name-move/end", { leave });
