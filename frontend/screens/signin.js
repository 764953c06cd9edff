// @ts-check
/** Signing in by name and passphrase; and a new passphrase by the owner's link. @module */
import { useState } from "../vendor/preact-hooks.js";
import { contact, pending, session } from "../store/house.js";
import { signIn, signOut, setPassphrase } from "../store/session.js";
import { html, t } from "../ui/html.js";
import { tryNow } from "../ui/keeper.js";
import { Field } from "../ui/number.js";
import { Page } from "../ui/page.js";

/** What went wrong, in words: the server's own, or that it is not in reach. @param {any} problem */
const saidOf = (problem) => problem.problem?.detail ?? t("signin.offline");
const called = () => navigator.platform || "browser";

/** Begin to fetch, and go to the round. */
function enter() {
  contact.value = { ...contact.value, state: "starting" };
  tryNow();
  location.hash = "#/";
}

/** A passphrase to type, which can be looked at: a wet thumb mistypes. */
function Secret({ label, value, onInput, fresh = false }) {
  const [seen, setSeen] = useState(false);
  return html`<${Field} label=${label} type=${seen ? "text" : "password"} value=${value} onInput=${onInput} autocomplete=${fresh ? "new-password" : "current-password"} />
    <button type="button" class="act" aria-pressed=${seen} onClick=${() => setSeen(!seen)}>${t(seen ? "signin.hide" : "signin.show")}</button>`;
}

export function SignIn() {
  const [name, setName] = useState("");
  const [passphrase, setPassphraseText] = useState("");
  const [error, setError] = useState("");
  const go = () => {
    setError("");
    if (!name.trim() || !passphrase) return setError(t("signin.both"));
    return signIn({ name: name.trim(), passphrase }, called()).then(enter, (problem) => setError(saidOf(problem)));
  };
  const foot = html`${error && html`<p class="error" role="alert">${error}</p>`}
    <button type="button" class="act main-act" onClick=${go}><strong>${t("signin.go")}</strong></button>`;
  return html`<${Page} name="signin" title=${t("signin.title")} back="#/" foot=${foot}>
    ${pending.value.length > 0 && html`<p class="caution">${t("signin.unsent", { n: pending.value.length })}</p>`}
    <${Field} label=${t("people.name")} value=${name} onInput=${setName} autocomplete="username" />
    <${Secret} label=${t("signin.passphrase")} value=${passphrase} onInput=${setPassphraseText} />
    <p class="quiet">${t("signin.forgot")}</p></${Page}>`;
}

/** One's own passphrase, set or changed; with the owner's link also by whoever forgot theirs. @param {{secret?: string}} props */
export function Passphrase({ secret }) {
  const [old, setOld] = useState("");
  const [fresh, setFresh] = useState("");
  const [error, setError] = useState("");
  const [told, setTold] = useState("");
  const changing = !secret && session.value?.has_passphrase;
  const failed = (problem) => setError(saidOf(problem));
  const done = () => {
    setOld("");
    setFresh("");
    setError("");
    setTold(t("signin.kept"));
  };
  const go = () => {
    setError("");
    setTold("");
    return secret ? signIn({ secret, new: fresh }, called()).then(enter, failed) : setPassphrase(fresh, changing ? old : undefined).then(done, failed);
  };
  if (!secret && !session.value?.proved) {
    const says = t(session.value?.role === "owner" ? "signin.owners_first" : "signin.nobodys");
    return html`<${Page} name="passphrase" title=${t("signin.own")} back="#/settings"><p class="large">${says}</p><${Leaving} /></${Page}>`;
  }
  const foot = html`${error && html`<p class="error" role="alert">${error}</p>`}${told && html`<p role="status">${told}</p>`}
    <button type="button" class="act main-act" onClick=${go}><strong>${t(changing ? "signin.change" : "signin.set")}</strong></button>`;
  return html`<${Page} name="passphrase" title=${t("signin.own")} back=${secret ? "#/" : "#/settings"} foot=${foot}>
    <p>${t("signin.what")}</p>
    ${changing && html`<${Secret} label=${t("signin.old")} value=${old} onInput=${setOld} />`}
    <${Secret} label=${t("signin.new")} value=${fresh} onInput=${setFresh} fresh=${true} />
    ${!secret && html`<${Leaving} />`}</${Page}>`;
}

/** Signing out, here or everywhere; what is unsent stays, and is said. */
function Leaving() {
  const [error, setError] = useState("");
  const leave = (everywhere) => () => signOut(everywhere).then(() => (location.hash = "#/"), (problem) => setError(saidOf(problem)));
  const n = pending.value.length;
  return html`<section><h2>${t("signin.leave")}</h2>
    <p>${t("signin.leave_what")}</p>${n > 0 && html`<p class="caution">${t("signin.leave_unsent", { n })}</p>`}
    <button type="button" class="act" onClick=${leave(false)}>${t("signin.out")}</button>
    ${session.value?.proved && html`<button type="button" class="act" onClick=${leave(true)}><span>${t("signin.everywhere")}</span><small>${t("signin.everywhere_what")}</small></button>`}
    ${error && html`<p class="error" role="alert">${error}</p>`}</section>`;
}
