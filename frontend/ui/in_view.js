// @ts-check
/** What was just said, and what belongs to it, is brought to where it is read. @module */
import { useEffect, useRef } from "../vendor/preact-hooks.js";

/**
 * A ref for an element that comes into the middle of the screen whenever something is said: at its
 * edge it may lie below the screen's, or under the foot. @param {any} said
 */
export function useInView(said) {
  const here = useRef(/** @type {HTMLElement | null} */ (null));
  useEffect(() => {
    if (said) here.current?.scrollIntoView({ block: "center" });
  }, [said]);
  return here;
}
