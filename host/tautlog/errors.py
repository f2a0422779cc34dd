"""Errors: every error that tautlog raises on purpose.

::

    TautlogError(Exception)
     +-- LinkError(OSError)           the port is missing, busy or gone
     |    +-- LinkTimeoutError(TimeoutError)   the board did not answer in time
     +-- BoardError                   the board's answer cannot be used
     |    +-- WrongDeviceError        the device at the port is not a tautlog board
     |    +-- WireVersionError        firmware and laptop speak different wire formats
     |    +-- RefusedError            the board refused a command, with its reasons
     |         +-- NotReadyError      its readings cannot be trusted with a drop
     |    +-- BoardConfigError        the board's config.py is wrong, it drives no pin
     |    +-- FirmwareFailedError     the board's firmware did not start, it drives no pin
     +-- RecordError                  a record cannot be read, written or trusted
     |    +-- RecordExistsError(FileExistsError)
     |    +-- RecordGoneError         the file is no longer under its name
     +-- TraceImportError(ValueError) a foreign trace cannot be understood
     +-- CampaignError(ValueError)    campaign.toml or a drop's set-up is wrong
     |    +-- QuantityError           a number makes no sense
     +-- PlanError(ValueError)        no drop satisfies the given values
     +-- StatementError(ValueError)   nothing can be stated about a part from these numbers
     +-- CalibrationError(ValueError) the points do not make a calibration
     +-- SignatureError(ValueError)   a signature or a key cannot be used, or does not fit
     +-- JsonError(ValueError)        a text is not JSON, or cannot be used
     +-- ScreenError                  no window can be opened here
     +-- AbortedError                 the user or the board stopped the drop

Each message says what was seen, what was expected and how to mend it. The
command line shows it on one line and exits with status 1.
"""


class TautlogError(Exception):
    """Root of all errors that a user may see."""


class LinkError(TautlogError, OSError):
    """The serial port is missing, busy or gone."""

    def __init__(self, message: str, *, port: str = "") -> None:
        super().__init__(message)
        self.port = port

    def __str__(self) -> str:
        return str(self.args[0])


class LinkTimeoutError(LinkError, TimeoutError):
    """The board did not answer in time."""


class BoardError(TautlogError):
    """The board answered, but its answer cannot be used."""


class WrongDeviceError(BoardError):
    """The device that answers at the port is not a tautlog board."""


class WireVersionError(BoardError):
    """Firmware and laptop speak different wire formats."""

    def __init__(self, message: str, *, expected: int, received: int) -> None:
        super().__init__(message)
        self.expected = expected
        self.received = received


class RefusedError(BoardError):
    """The board refused a command.

    Attributes
    ----------
    reasons : tuple of str
        All reasons, in plain words.
    state : str
        The board's state then, as far as it said one.
    """

    def __init__(self, message: str, *, reasons: tuple[str, ...] = (), state: str = "") -> None:
        super().__init__(message)
        self.reasons = reasons
        self.state = state


class BusyError(RefusedError):
    """The board is armed or recording, and answers nothing else."""


class NotReadyError(RefusedError):
    """The instrument's present readings cannot be trusted with a drop."""


class BoardConfigError(BoardError):
    """The board's config.py is wrong: the board answers, but drives no output pin.

    Attributes
    ----------
    faults : tuple of str
        What is wrong: the name and value of each bad line, and what is allowed.
    """

    def __init__(self, message: str, *, faults: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.faults = faults


class FirmwareFailedError(BoardError):
    """The firmware of the board did not start: the board answers, but drives no output pin.

    Attributes
    ----------
    traceback : tuple of str
        The last lines of the board's traceback, the last one first; may be empty.
    """

    def __init__(self, message: str, *, traceback: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.traceback = traceback


class RecordError(TautlogError):
    """A record cannot be read, written or trusted."""

    def __init__(self, message: str, *, path: str = "") -> None:
        super().__init__(message)
        self.path = path


class RecordExistsError(RecordError, FileExistsError):
    """A file of that name exists; tautlog never overwrites one."""

    def __str__(self) -> str:
        return str(self.args[0])


class RecordGoneError(RecordError):
    """The file being written was removed, moved or replaced.

    Attributes
    ----------
    path, saved : str
        The file's name; where its content is now, or "" if it could not be saved.
    whole : bool
        The saved content is finished and sealed.
    """

    def __init__(self, message: str, *, path: str, saved: str, whole: bool = False) -> None:
        super().__init__(message, path=path)
        self.saved = saved
        self.whole = whole


class TraceImportError(TautlogError, ValueError):
    """A foreign trace cannot be understood."""


class CampaignError(TautlogError, ValueError):
    """campaign.toml or the set-up of a drop is wrong.

    Attributes
    ----------
    problems : tuple of str
        Every mistake found, one line each.
    """

    def __init__(self, message: str, *, problems: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.problems = problems


class NotNowError(CampaignError):
    """Nobody hears this now: something is under way that takes no words."""


class QuantityError(CampaignError):
    """A number makes no sense: it is implausible, or not a number."""


class PlanError(TautlogError, ValueError):
    """No drop satisfies the given values."""


class StatementError(TautlogError, ValueError):
    """Nothing can be stated about a part from these numbers."""


class CalibrationError(TautlogError, ValueError):
    """The measured points do not make a calibration."""


class SignatureError(TautlogError, ValueError):
    """A signature or key cannot be used, or does not fit.

    Attributes
    ----------
    needs_passphrase : bool
        Whether the key's file is locked, and no passphrase was given.
    """

    def __init__(self, message: str, *, needs_passphrase: bool = False) -> None:
        super().__init__(message)
        self.needs_passphrase = needs_passphrase


class JsonError(TautlogError, ValueError):
    """A text is not JSON, or its content cannot be used."""


class ScreenError(TautlogError):
    """No window can be opened here."""


class AbortedError(TautlogError):
    """The user or the board stopped the drop before there was a record."""
