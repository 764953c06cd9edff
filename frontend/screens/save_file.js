// @ts-check
/** Handing the phone a file that the app has made. @module */
const FILE_KEPT_MS = 60_000;

/** @param {string} name @param {string} content @param {string} type */
export function saveFile(name, content, type) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([content], { type }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), FILE_KEPT_MS);
}
