// @ts-check
/**
 * Which cautions stand beside what: twin of `domain/cautions.py`; the words are in the locales, the
 * sources in `data/cautions.json`. A test holds the three to each other.
 * @module
 */

/** @type {{key: string, about: string[], grave: boolean}[]} */
const CAUTIONS = [
  { key: "label_first", about: ["bleach", "acid", "electricity", "toxic", "sprays"], grave: true },
  { key: "never_with", about: ["bleach"], grave: true },
  { key: "into_water", about: ["bleach"], grave: true },
  { key: "open_air", about: ["bleach"], grave: false },
  { key: "gloves_eyes", about: ["bleach"], grave: false },
  { key: "on_skin_eyes", about: ["bleach"], grave: false },
  { key: "strength_known", about: ["bleach"], grave: false },
  { key: "dispose", about: ["bleach"], grave: false },
  { key: "children_food", about: ["bleach", "toxic"], grave: false },
  { key: "acid_then_bleach", about: ["bleach", "acid"], grave: true },
  { key: "acid_trained", about: ["acid"], grave: true },
  { key: "pump", about: ["electricity"], grave: true },
  { key: "toxic", about: ["toxic"], grave: false },
  { key: "frost_alone", about: ["frost"], grave: true },
  { key: "frost_power", about: ["frost"], grave: true },
  { key: "frost_advice", about: ["frost"], grave: false },
  { key: "heat_people", about: ["heat"], grave: true },
];

/**
 * The cautions about any of these, the grave ones first.
 * @param {...string} hazards `bleach`, `acid`, `electricity`, `toxic`, `sprays`, `frost` or `heat`
 */
export function cautionsAbout(...hazards) {
  const found = CAUTIONS.filter(({ about }) => about.some((one) => hazards.includes(one)));
  return [...found.filter(({ grave }) => grave), ...found.filter(({ grave }) => !grave)];
}
