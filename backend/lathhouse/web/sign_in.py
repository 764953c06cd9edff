"""Signing in by name and passphrase, changing it, and signing out."""

from typing import Any

from flask import Response, g, jsonify, request
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.domain.passphrases import MOST, folded
from lathhouse.errors import BadField, NotAllowed, NotFound, SignInRefused
from lathhouse.store import access, config, passphrases, tries
from lathhouse.store.work import looking
from lathhouse.sync.fields import Name, Uuid
from lathhouse.web.callers import address_of
from lathhouse.web.gate import COOKIE, same_origin
from lathhouse.web.name_move import pairing_base
from lathhouse.web.on_record import telling_access, telling_let_in
from lathhouse.web.refusals import note_let_in
from lathhouse.web.requests import PUBLIC, allow, now, now_ms, read_object, site_id
from lathhouse.web.session import with_cookie
from lathhouse.web.tries import count_try

bp = Blueprint("sign_in", "sign_in", url_prefix="/api/v1", description="Passphrases")
KNOWN_COOKIE = "lathhouse_known"
PEOPLE = ("owner", "worker", "viewer")
# Within ten minutes (ours; OWASP ASVS 5.0, V6.3.1 asks that there be such limits, and that they
# lock nobody out): an address guesses so often, and all strangers together so often at one
# account. A browser in which its person was signed in before has tries of its own, which no
# stranger uses up.
PER_ADDRESS, PER_ACCOUNT, PER_KNOWN = 20, 15, 10
INSTEAD = "use a phone or browser in which you were signed in before, or ask the owner for a link"


def buckets(account: str, *, known: bool) -> dict[str, int]:
    """Return the buckets of a try at an account, and how many tries each takes."""
    if known:
        browser = access.hashed(request.cookies[KNOWN_COOKIE])
        return {f"known:{browser}:{account}": PER_KNOWN}
    address = address_of(request.remote_addr)
    return {f"address:{address}": PER_ADDRESS, f"account:{account}": PER_ACCOUNT}


def text_of(body: dict[str, Any], field: str, most: int) -> str:
    """Return a text of the body.

    Raises:
        BadField: it is none, or too long.
    """
    value = body.get(field)
    if not isinstance(value, str) or not value or len(value) > most:
        raise BadField(f"{field} must be a text of 1 to {most} characters.", field=field)
    return value


def browser_in(body: dict[str, Any]) -> dict[str, Any]:
    """Return {device, phone} of the browser that signs in.

    Raises:
        BadField: it names no device, or an impossible name.
    """
    device, phone = body.get("device"), body.get("phone")
    if not Uuid().fits(device):
        raise BadField(f"device {Uuid.says}.", field="device")
    if phone is not None and not Name().fits(phone):
        raise BadField(f"phone {Name.says}, or left out.", field="phone")
    return {"device": str(device).lower(), "phone": phone}


def signed_in(found: dict[str, Any]) -> Response:
    """Answer a browser that was let in."""
    note_let_in("signed-in", found["person"])
    told = {"role": found["role"], "person": found["person"], "proved": found["person"]}
    answer = with_cookie(jsonify({**told, "demo": False, "by_passphrase": True}), found["cookie"])
    return with_cookie(answer, found["known"], KNOWN_COOKIE)


@bp.route("/session/sign-in")
class SignIn(MethodView):
    """Signing in."""

    @bp.response(200, description="This browser is signed in")
    @allow(PUBLIC)
    def post(self) -> Response:
        """Sign in by name and passphrase: {name, passphrase, device, phone}."""
        same_origin()
        body = read_object()
        said = browser_in(body)
        said |= {
            "name": text_of(body, "name", 200),
            "passphrase": text_of(body, "passphrase", 4 * MOST),
        }
        cookie = request.cookies.get(KNOWN_COOKIE)
        known = passphrases.is_known(site_id(), cookie, said["name"], now())
        most = buckets(folded(said["name"]), known=known)
        count_try(most, INSTEAD)
        before = request.cookies.get(COOKIE)
        found = passphrases.sign_in(site_id(), said, before, now(), telling_let_in())
        if found is None:
            raise SignInRefused("The name and the passphrase do not go together. Try again.")
        tries.forgive(site_id(), list(most), now_ms())
        return signed_in(found)


@bp.route("/session/sign-out")
class SignOut(MethodView):
    """Signing out."""

    @bp.response(200, description="Signed out")
    @allow(*PEOPLE)
    def post(self) -> Response:
        """Sign this phone out, or with `everywhere` all of its person's. Nothing unsent is lost."""
        if g.actor["by"] != "session":
            raise NotAllowed("A token is revoked by the owner; it does not sign out.")
        everywhere = read_object().get("everywhere", False)
        if not isinstance(everywhere, bool):
            raise BadField("everywhere must be true or false.", field="everywhere")
        if everywhere and not g.actor["proved"]:
            raise NotAllowed("This phone is nobody's own: sign it out by itself.")
        what = "signed_out_everywhere" if everywhere else "signed_out"
        own = g.actor["proved"]
        told = telling_access(what, own, person=own, device=g.actor["device"])
        cookie = request.cookies[COOKIE]
        ended = access.sign_out(site_id(), cookie, now(), everywhere=everywhere, then=told)
        answer = jsonify({"ended": ended})
        answer.delete_cookie(
            COOKIE, path="/", samesite="Strict", secure=request.is_secure, httponly=True
        )
        return answer


@bp.route("/session/passphrase")
class OwnPassphrase(MethodView):
    """A person's own passphrase."""

    @bp.response(200, description="It is set")
    @allow(*PEOPLE)
    def post(self) -> dict[str, Any]:
        """Set one's passphrase, or change it: {new, old}; `old` where there is one."""
        person = g.actor.get("proved")
        if person is None:
            raise NotAllowed(
                "Set it on a phone that was paired as your own, or by the owner's link."
            )
        body = read_object()
        new, old = text_of(body, "new", 4 * MOST), body.get("old")
        had = passphrases.is_set(site_id(), person, now())
        most = {f"change:{person}": PER_KNOWN}
        if had:
            old = text_of(body, "old", 4 * MOST)
            count_try(most, INSTEAD)
        what = "passphrase_changed" if had else "passphrase_set"
        told = telling_access(what, person, person=person)
        cookie = request.cookies[COOKIE]
        if not passphrases.change(site_id(), person, old, new, cookie, now(), told):
            raise SignInRefused("The old passphrase is another one. Try again, or ask for a link.")
        if had:
            tries.forgive(site_id(), list(most), now_ms())
        return {"set": True}


@bp.route("/people/<string:person>/passphrase-link")
class PassphraseLink(MethodView):
    """A link by which a person sets a passphrase who has none, or forgot it."""

    @bp.response(201, description="A link that is good once, for an hour")
    @allow("owner")
    def post(self, person: str) -> dict[str, Any]:
        """Make a link with which a person sets a new passphrase."""
        row = looking(site_id(), now(), lambda work: config.data_of(work, "person", person))
        if row is None:
            raise NotFound("There is no such person; add them first.")
        role, minutes = row.get("role") or "worker", passphrases.LINK_MINUTES
        purpose = passphrases.PURPOSE
        told = telling_access("passphrase_link_made", g.actor.get("person"), person=person)
        secret = access.make_link(site_id(), role, person, now(), minutes, purpose, told)
        return {"link": f"{pairing_base()}#/passphrase/{secret}", "minutes": minutes}


@bp.route("/passphrases/redeem")
class Reset(MethodView):
    """A passphrase by the owner's link."""

    @bp.response(200, description="It is set, and this browser is signed in")
    @allow(PUBLIC)
    def post(self) -> Response:
        """Set a passphrase by a link, and sign in: {secret, new, device, phone}."""
        same_origin()
        body = read_object()
        said = browser_in(body)
        secret, new = text_of(body, "secret", 200), text_of(body, "new", 4 * MOST)
        most = {f"links:{address_of(request.remote_addr)}": PER_ADDRESS}
        count_try(most, INSTEAD)
        before, told = request.cookies.get(COOKIE), telling_let_in("passphrase_reset")
        found = passphrases.reset(site_id(), secret, new, said, before, now(), told)
        if found is None:
            raise NotAllowed("This link was used already or is too old. Ask the owner for another.")
        tries.forgive(site_id(), list(most), now_ms())
        return signed_in(found)
