// @ts-check
/** What one tab of the app tells the others: something was recorded, something has come. @module */

/** @typedef {"recorded" | "synced"} News */

const channel = new BroadcastChannel("lathhouse");

/** Tell the other tabs. @param {News} news */
export function tellTabs(news) {
  channel.postMessage(news);
}

/** Be told by another tab. @param {(news: News) => void} listener */
export function onTabs(listener) {
  channel.addEventListener("message", (event) => listener(event.data));
}
