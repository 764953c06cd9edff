// @ts-check
/** Sending a file that some phone has saved. @module */
import { ask } from "./server.js";

// A long file is stored in many steps.
const LIMIT_MS = 120_000;

/**
 * Have the server store a saved file's records, each once.
 * @param {string} text
 * @returns {Promise<{phone: string | null, device: string, made_at: string, stored: number, already: number, refused: any[]}>}
 * @throws {import("./server.js").Failure}
 */
export const sendSavedFile = (text) => ask("POST", "/api/v1/saved-files", { text }, { limitMs: LIMIT_MS });
