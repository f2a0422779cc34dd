"""Screen: windows, with any toolkit that this machine has.

The only importer of pyplot, which looks for a toolkit: Tk, which comes with most Pythons, Qt,
GTK or that of macOS.
"""

from __future__ import annotations

from collections.abc import Callable

from matplotlib.backends.registry import BackendFilter, backend_registry
from matplotlib.figure import Figure

from tautlog.errors import ScreenError


def new_window(title: str, size_in: tuple[float, float], *, tools: bool = True) -> Figure:
    """Open a window with an empty figure; `wait` shows it.

    With `tools` it has the library's tools to zoom, move and save.

    Raises
    ------
    ScreenError
        If there is no screen or no toolkit.
    """
    try:
        from matplotlib import pyplot

        with pyplot.rc_context({} if tools else {"toolbar": "None"}):
            figure = pyplot.figure(figsize=size_in)
        backend = pyplot.get_backend().lower()
    except Exception as problem:  # every toolkit has its own errors
        raise ScreenError(_no_window(str(problem))) from problem
    builtin: Callable[..., list[str]] = backend_registry.list_builtin
    if backend not in builtin(BackendFilter.INTERACTIVE):
        pyplot.close(figure)
        raise ScreenError(_no_window(f"`{backend}` can only draw pictures"))
    manager = figure.canvas.manager
    assert manager is not None
    manager.set_window_title(title)
    # The library's own keys would clash with ours.
    if manager.key_press_handler_id is not None:
        figure.canvas.mpl_disconnect(manager.key_press_handler_id)
    return figure


def _no_window(why: str) -> str:
    return (
        f"no window can be opened ({' '.join(why.split())}): use a desktop with Python's tkinter, "
        "or `pip install PySide6-Essentials`"
    )


def wait() -> None:
    """Show all windows until they are closed."""
    from matplotlib import pyplot

    pyplot.show()


def close(figure: Figure) -> None:
    """Close a window."""
    from matplotlib import pyplot

    pyplot.close(figure)
