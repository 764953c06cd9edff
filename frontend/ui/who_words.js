// @ts-check
/** Whose record something is, in words: a name, a name that was only said, or nobody named. @module */
import { person } from "../store/house.js";
import { t } from "./html.js";

/** The name as it is known, or null where nobody is named. @param {string | null} id @param {boolean} [said] marked as only said */
export function whoWords(id, said) {
  const who = person(id);
  return who && said ? t("who.as_was_said", { who }) : who;
}
