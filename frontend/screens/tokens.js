// @ts-check
/** Tokens of scripts and sensors: what each may, its last use; one made is shown once. @module */
import { useEffect, useState } from "../vendor/preact-hooks.js";
import { listTokens, makeToken, revokeToken } from "../store/preferences.js";
import { Choice } from "../ui/choice.js";
import { html, t } from "../ui/html.js";
import { date, dayOf } from "../ui/local.js";
import { Field, NAME_MAX } from "../ui/number.js";
import { Page } from "../ui/page.js";

const ROLES = ["sensor", "viewer", "worker", "owner"];
const saidOf = (problem) => problem.problem?.detail ?? t("tokens.offline");

export function Tokens() {
  const [tokens, setTokens] = useState(/** @type {any[] | null} */ (null));
  const [error, setError] = useState("");
  const failed = (problem) => setError(saidOf(problem));
  const look = () => listTokens().then(setTokens, failed);
  useEffect(() => void look(), []);
  return html`<${Page} name="tokens" title=${t("tokens.title")} back="#/people">
    ${error && html`<p class="error" role="alert">${error}</p>`}
    <p>${t("tokens.is")}</p>
    ${tokens && !tokens.length && html`<p class="quiet">${t("tokens.none")}</p>`}
    <ul class="people">${(tokens ?? []).map((token) => html`<${Token} key=${token.id} token=${token} onRevoke=${() => revokeToken(token.id).then(look, failed)} />`)}</ul>
    <${NewToken} onMade=${look} />
  </${Page}>`;
}

function Token({ token, onRevoke }) {
  const [asked, setAsked] = useState(false);
  const used = token.used_at ? t("tokens.used", { date: date(dayOf(token.used_at)) }) : t("tokens.unused");
  return html`<li><p><strong>${token.name}</strong> <small>${t(`scope.${token.role}`)}</small></p><p class="quiet">${used}</p>
    ${asked ? html`<p>${t("tokens.revoke_what")}</p><div class="place-row"><button type="button" class="act" onClick=${onRevoke}>${t("tokens.revoke_now")}</button>
        <button type="button" class="act" onClick=${() => setAsked(false)}>${t("people.leave_in")}</button></div>`
      : html`<button type="button" class="act" onClick=${() => setAsked(true)}>${t("tokens.revoke")}</button>`}</li>`;
}

function NewToken({ onMade }) {
  const [name, setName] = useState("");
  const [role, setRole] = useState("sensor");
  const [made, setMade] = useState(/** @type {{name: string, token: string} | null} */ (null));
  const [error, setError] = useState("");
  const make = () => {
    if (!name.trim()) return setError(t("error.needed", { field: t("tokens.for") }));
    return makeToken(name.trim(), role).then(({ token }) => {
      setMade({ name: name.trim(), token });
      setName("");
      setError("");
      onMade();
    }, (problem) => setError(saidOf(problem)));
  };
  // Shown alone: what makes another one would take its place.
  if (made) return html`<${Made} made=${made} onDone=${() => setMade(null)} />`;
  return html`<section><h2>${t("tokens.new")}</h2>
    <${Field} label=${t("tokens.for")} value=${name} onInput=${setName} max=${NAME_MAX} />
    <${Choice} name=${t("people.role")} answers=${ROLES.map((one) => [one, t(`scope.${one}`)])} value=${role} onChoose=${(one) => one && setRole(one)} />
    ${error && html`<p class="error" role="alert">${error}</p>`}
    <button type="button" class="act" onClick=${make}>${t("tokens.make")}</button></section>`;
}

function Made({ made: { name, token }, onDone }) {
  const [told, setTold] = useState("");
  // A line that is not encrypted has no clipboard.
  const copy = () => Promise.resolve(navigator.clipboard?.writeText(token) ?? Promise.reject(new Error("no clipboard")))
    .then(() => setTold(t("tag.copied")), () => setTold(t("tag.copy_denied")));
  return html`<section><h2>${t("tokens.of", { name })}</h2>
    <p class="caution">${t("tokens.once")}</p><p class="link" role="status">${token}</p>
    <button type="button" class="act main-act" onClick=${copy}><strong>${t("tokens.copy")}</strong></button>${told && html`<p role="status">${told}</p>`}
    <button type="button" class="act" onClick=${onDone}>${t("tokens.kept")}</button></section>`;
}
