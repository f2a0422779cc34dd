"""Forms: what people typed into a page, read as strictly as the options of a command."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from tautlog.desk.admission import token_holds
from tautlog.desk.fields import number_in, shown_in_field, units_of_form
from tautlog.desk.page import desk_of, visitor_of
from tautlog.errors import QuantityError
from tautlog.model.display_units import Units
from tautlog.model.quantities import Quantity

MOST_FIELDS, MOST_FILES, MOST_TEXT = 400, 24, 4_000
MOST_DIGITS = 9
TOKEN = "token"
WAITS_S = 3.0  # for another entry: most take some hundredths of a second
BUSY = "Something else is being entered here, and takes long. Nothing was entered: try again."


@dataclass(frozen=True)
class Entered:
    """The fields of a form, as typed.

    Attributes
    ----------
    texts : dict
        Last text of each field, without blanks around it.
    files : tuple of UploadFile
        Files that came with it.
    """

    texts: dict[str, str]
    files: tuple[UploadFile, ...] = ()

    def text(self, name: str) -> str:
        """A text, "" if it was left out.

        Raises
        ------
        QuantityError
            If it is longer than people type.
        """
        found = self.texts.get(name, "")
        if len(found) > MOST_TEXT:
            raise QuantityError(f"{name}: {len(found)} letters, {MOST_TEXT} are allowed")
        return found

    @property
    def units(self) -> Units:
        """Units of the page that was filled in; those of campaign.toml may have changed since.

        Raises
        ------
        QuantityError
            If the page does not say which.
        """
        return units_of_form(self.texts)

    def number(self, name: str, quantity: Quantity, own: float | None = None) -> float | None:
        """A number of that quantity, in its own unit; None if it was left out.

        Parameters
        ----------
        name, quantity : str, Quantity
            The field, and what may stand in it.
        own : float or None
            The value that the page showed in it; as it was shown, it is meant as it is.

        Raises
        ------
        QuantityError
            If it is no number with a unit of the quantity, or out of range.
        """
        text, units = self.text(name), self.units
        if own is not None and text == shown_in_field(own, quantity.unit, units):
            return own
        return number_in(name, text, quantity, units)

    def entry_number(self, name: str) -> int | None:
        """Number of an earlier entry; None if it was left out.

        Raises
        ------
        QuantityError
            If it is none.
        """
        text = self.text(name)
        if text and not (text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS):
            raise QuantityError(f"{text[:40]!r} is not the number of an entry")
        return int(text) if text else None


def entering(
    do: Callable[[Request, Entered], Response], *, alone: bool = True
) -> Callable[[Request], Awaitable[Response]]:
    """The only way to an entry: with the session's token, and one at a time.

    Parameters
    ----------
    do : callable
        Enters it.
    alone : bool
        False for what must wait for no other entry, and writes nothing.
    """

    async def endpoint(request: Request) -> Response:
        async with request.form(
            max_fields=MOST_FIELDS, max_files=MOST_FILES, max_part_size=1 << 20
        ) as form:
            entered = _entered(form)
            brought = request.headers.get("x-desk-token") or entered.texts.get(TOKEN, "")
            if not token_holds(visitor_of(request), brought):
                return PlainTextResponse(
                    "This entry lacks the token of your session: reload the page, and enter it "
                    "again.",
                    403,
                )
            if not alone:
                return await run_in_threadpool(do, request, entered)
            return await run_in_threadpool(_alone, do, request, entered)

    return endpoint


def _alone(
    do: Callable[[Request, Entered], Response], request: Request, entered: Entered
) -> Response:
    desk = desk_of(request)
    # What holds the board may take minutes; nobody waits for it, and nothing is entered late.
    if not desk.writing.acquire(timeout=WAITS_S):
        return PlainTextResponse(BUSY, 409)
    try:
        answer = do(request, entered)
    finally:
        desk.writing.release()
    if answer.status_code == 303:
        desk.feed.tell("entered", {"at": request.url.path})
    return answer


def _entered(form: FormData) -> Entered:
    texts = {name: value.strip() for name, value in form.multi_items() if isinstance(value, str)}
    files = tuple(value for _, value in form.multi_items() if isinstance(value, UploadFile))
    return Entered(texts, tuple(file for file in files if file.filename))
