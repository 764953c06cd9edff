// @ts-check
/** Lays the words of the screens behind the round beside the round's own; with the first such screen they come. @module */
import { words } from "../locales/en.js";
import { words as later } from "../locales/later/en.js";

Object.assign(words, later);
