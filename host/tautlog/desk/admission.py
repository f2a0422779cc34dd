"""Admission: who may see the desk, and who may enter something.

Everyone comes by a link that holds a secret. Whoever brings it gets a session of his own: a
cookie, which pages cannot read, and a token, which every entry must bring as well. The crew's
link and the watchers' link hold different secrets, and a watcher's session can enter nothing.

Cookies do not know ports: another program on this computer that serves pages to the same browser
gets the cookie, too. The name of the cookie holds the port, so that two desks do not disturb each
other.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field
from enum import Enum
from http.cookies import CookieError, SimpleCookie

SECRET_BYTES = 24
MOST_SESSIONS = 64  # browsers at one desk; the oldest session ends first


class Role(Enum):
    """What a visitor may do."""

    CREW = "crew"
    WATCHER = "watcher"


@dataclass(frozen=True)
class Visitor:
    """Somebody with a session.

    Attributes
    ----------
    role : Role
        What he may do.
    token : str
        What his entries must bring.
    """

    role: Role
    token: str

    @property
    def may_enter(self) -> bool:
        """Whether he may enter something."""
        return self.role is Role.CREW

    @property
    def form_token(self) -> str:
        """The token that his forms hold; a watcher has no forms."""
        return self.token if self.may_enter else ""


@dataclass
class Admission:
    """The secret of one link, and the sessions that came by it.

    Attributes
    ----------
    role : Role
        What all of them may do.
    port : int
        Port of the desk, for the name of the cookie.
    secret : str
        In the link.
    """

    role: Role
    port: int
    secret: str = field(default_factory=lambda: secrets.token_urlsafe(SECRET_BYTES))
    _sessions: dict[str, Visitor] = field(default_factory=dict)

    @property
    def cookie_name(self) -> str:
        """Name of the session's cookie."""
        return f"tautlog_{self.role.value}_{self.port}"

    def enter(self, secret: str) -> str | None:
        """A new session for whoever brings the secret: the value of its cookie; else None."""
        if not _same(secret, self.secret):
            return None
        session = secrets.token_urlsafe(SECRET_BYTES)
        while len(self._sessions) >= MOST_SESSIONS:
            del self._sessions[next(iter(self._sessions))]
        self._sessions[session] = Visitor(self.role, secrets.token_urlsafe(SECRET_BYTES))
        return session

    def visitor(self, cookies: str) -> Visitor | None:
        """Whose session a request's cookies name, or None."""
        try:
            found = SimpleCookie(cookies).get(self.cookie_name)
        except CookieError:
            return None
        brought = found.value if found else ""
        known = None
        for session, visitor in self._sessions.items():
            if _same(brought, session):
                known = visitor
        return known

    def cookie(self, session: str) -> str:
        """The header that gives a browser its session."""
        return f"{self.cookie_name}={session}; Path=/; HttpOnly; SameSite=Strict"


def token_holds(visitor: Visitor, token: str) -> bool:
    """Whether an entry brings the token of its session."""
    return visitor.may_enter and _same(token, visitor.token)


def _same(given: str, known: str) -> bool:
    """Compare in a time that tells nothing."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), known.encode())
