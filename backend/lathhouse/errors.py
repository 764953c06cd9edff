"""Refusals: what the house says no to, each with one sentence for a person.

Only the web knows HTTP; a `Refusal` carries the status and the words that it will use (RFC 9457).
"""

from typing import Any

PROBLEM_TYPES = "https://lathhouse.invalid/problems/"


class Refusal(Exception):
    """A rule says no. `detail` says what is wrong and what would be right."""

    status = 422
    slug = "not-valid"
    title = "This cannot be taken as it is"

    def __init__(self, detail: str, **extra: Any) -> None:
        super().__init__(detail)
        self.detail = detail
        self.extra = extra

    def problem(self) -> dict[str, Any]:
        """Return the problem document's members."""
        return {
            "type": PROBLEM_TYPES + self.slug,
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
            **self.extra,
        }


class NotAnEvent(Refusal):
    """An item of a batch is not an event at all."""

    slug, title = "not-an-event", "This is not an event"


class BadField(Refusal):
    """A field of an event is missing, of the wrong shape or impossible."""

    slug, title = "bad-field", "A field of this record cannot be right"


class IdTaken(Refusal):
    """An id that is stored already comes again with another body."""

    status, slug, title = 409, "id-taken", "Another record already has this id"


class FromTheFuture(Refusal):
    """An event is more than a day ahead of the server, after its clock was corrected."""

    slug, title = "from-the-future", "This record is more than a day ahead"


class AnotherFold(Refusal):
    """The rows are by now those of another version of the program, which folds otherwise."""

    status, slug, title = 503, "another-version", "Another version of the program has this record"


class Busy(Refusal):
    """Another writer has the record, and goes on for longer than a phone should wait."""

    status, slug, title = 503, "busy", "The record is being written by another"


class FixedWatch(Refusal):
    """The six-week watch is the one that cannot be changed."""

    slug, title = "fixed-watch", "This watch cannot be changed"


class BadCursor(Refusal):
    """A cursor that this server did not hand out."""

    slug, title = "bad-cursor", "This cursor is not one of ours"


class BadRequest(Refusal):
    """The request cannot be read."""

    status, slug, title = 400, "unreadable", "The request cannot be read"


class TwoEnds(Refusal):
    """A request says in two ways where it ends; its line is closed."""

    status, slug, title = 400, "two-ends", "The request does not say where it ends"


class UnknownPacking(Refusal):
    """A body packed in a way that is not read here."""

    status, slug, title = 415, "unknown-packing", "The body is packed in an unknown way"


class TooMuch(Refusal):
    """A body or a batch over the limit."""

    status, slug, title = 413, "too-much", "This is more than is taken at once"


class SignInNeeded(Refusal):
    """No paired phone's session and no token."""

    status, slug, title = 401, "sign-in-needed", "This needs a paired phone or a token"


class SignInRefused(Refusal):
    """A name and a passphrase that do not go together; nobody is told which of them is wrong."""

    status, slug, title = 403, "sign-in-refused", "Nobody was signed in"


class NotAllowed(Refusal):
    """The role is too small for this."""

    status, slug, title = 403, "not-allowed", "Your role does not allow this"


class OwnersOnly(Refusal):
    """A worker's phone changed what only the owner changes."""

    status, slug, title = 403, "owners-only", "Only the owner changes this"


class NotFound(Refusal):
    """There is no such thing."""

    status, slug, title = 404, "not-found", "There is no such thing here"


class BadArchive(Refusal):
    """An archive that cannot be read back, or a place that cannot take it."""

    status, slug, title = 409, "bad-archive", "This archive cannot be taken"


class NotNow(Refusal):
    """What is asked cannot be done as things stand."""

    status, slug, title = 409, "not-now", "This cannot be done as things stand"


class WhichSite(Refusal):
    """A database that holds several nurseries, of which none was named, or one that it lacks."""

    status, slug, title = 409, "which-site", "This server does not know which nursery it is for"


class SavedFileRefused(Refusal):
    """A file of unsent records that is not whole, not one, or not of this nursery."""

    slug, title = "saved-file-refused", "This file cannot be taken"


class BadPhoto(Refusal):
    """Octets that are no picture as phones send them, or not the one that their name says."""

    slug, title = "bad-photo", "This picture cannot be taken"


class PhotoUnnamed(Refusal):
    """A picture that no record names."""

    status, slug, title = 409, "photo-unnamed", "No record names this picture"


class NoRoom(Refusal):
    """So little room that what is left belongs to the record (RFC 4918 section 11.5)."""

    status, slug, title = 507, "no-room", "The server has no room for pictures"


class TooOften(Refusal):
    """The same thing is asked for again and again."""

    status, slug, title = 429, "too-often", "This was asked for too often"


class TooSlow(Refusal):
    """A body that did not come in time."""

    status, slug, title = 408, "too-slow", "The request did not come in time"


class TooBusy(Refusal):
    """More is on its way to the server than it takes at once."""

    status, slug, title = 503, "too-busy", "The server takes no more at once"


class LastOwner(Refusal):
    """A change that would leave nobody here an owner."""

    status, slug, title = 409, "last-owner", "Nobody here would be an owner"
