"""Screen: windows, with whatever toolkit this machine has.

The only importer of pyplot, which looks for one: Tk, which comes with most Pythons, Qt,
GTK, or that of macOS.
"""

from __future__ import annotations

from collections.abc import Callable

from matplotlib.backends.registry import BackendFilter, backend_registry
from matplotlib.figure import Figure

from tautlog.errors import ScreenError


def new_window(title: str, size_in: tuple[float, float], *, tools: bool = True) -> Figure:
    """Open a window with an empty figure, shown once `wait` is called.

    With `tools`, it has those of the library to zoom, move and save.

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
    except Exception as problem:  # every toolkit has errors of its own
        raise ScreenError(_no_window(str(problem))) from problem
    builtin: Callable[..., list[str]] = backend_registry.list_builtin
    if backend not in builtin(BackendFilter.INTERACTIVE):
        pyplot.close(figure)
        raise ScreenError(_no_window(f"only pictures can be drawn here, by `{backend}`"))
    manager = figure.canvas.manager
    assert manager is not None
    manager.set_window_title(title)
    # Its keys would do things that ours say otherwise.
    if manager.key_press_handler_id is not None:
        figure.canvas.mpl_disconnect(manager.key_press_handler_id)
    return figure


def _no_window(why: str) -> str:
    return (
        f"no window can be opened ({' '.join(why.split())}): this needs a desktop, and Python's "
        "tkinter or `pip install PySide6-Essentials`"
    )


def wait() -> None:
    """Show all windows until they are closed."""
    from matplotlib import pyplot

    pyplot.show()


def close(figure: Figure) -> None:
    """Close a window."""
    from matplotlib import pyplot

    pyplot.close(figure)
