"""Who may import what. The rule stands in DEVELOPERS.md."""

import ast
import sys

import pytest
from places import FIRMWARE, HOST
from sources import heads, imports

# The wings of the host, from the ground up: a file imports its own wing and those before it.
WINGS = [
    "errors",
    "model",
    "files",
    "analysis",
    "board",
    "record",
    "calibrate",
    "archive",
    "io",
    "campaign",
    "qualify",
    "mechanics",
    "planning",
    "drop",
    "rehearsal",
    "display",
    "desk",
    "cli",
]
# Who alone may import a library.
OWNERS = {
    "serial": {"board/link.py"},
    "mpremote": {"board/prompt.py"},
    "h5py": {"record/"},
    "matplotlib": {
        "display/pictures/",
        "display/screen.py",
        "display/window.py",
        "display/live_window.py",
    },
    "pyuff": {"io/export.py"},
    "sqlite3": {"archive/catalogue.py"},
    "distributed": {"archive/batch.py"},
    "jinja2": {"display/report/page.py", "desk/page.py"},
    "starlette": {"desk/"},
    "uvicorn": {"desk/server.py"},
    "cryptography": {"files/ssh_signature.py"},
    "fpdf": {"display/report/sheet.py"},
}
FRONT = ("__init__.py", "__main__.py", "notebook.py")  # what a user calls; they may import all


host_files = sorted(HOST.rglob("*.py"))
firmware_files = sorted(FIRMWARE.rglob("*.py"))


def place(path):
    return str(path.relative_to(HOST))


def wing(name):
    """The wing of a path or of a module of the host."""
    return name.removeprefix("tautlog.").replace("/", ".").split(".")[0]


def modules(path):
    """Modules of the host that a file imports, also inside functions, without the firmware."""
    known = {place(one).removesuffix(".py").removesuffix("/__init__") for one in host_files}
    found = set()
    names = imports(path)
    # Of `from package import module` the module is meant.
    for name in names:
        if any(other.startswith(f"{name}.") for other in names):
            continue
        inside = name.removeprefix("tautlog.").replace(".", "/")
        while inside and inside not in known:
            inside = inside.rpartition("/")[0]
        if name.startswith("tautlog.") and inside:
            found.add(inside)
    return found


inside = [path for path in host_files if place(path) not in FRONT]


@pytest.mark.parametrize("path", inside, ids=place)
def test_host_file(path):
    of_firmware = {one for one in imports(path) if one.startswith("tautlog.firmware")}
    assert of_firmware <= {"tautlog.firmware", "tautlog.firmware.wire"}
    for package, owners in OWNERS.items():
        owned = any(place(path).startswith(one) for one in owners)
        assert package not in heads(path) or owned, f"{package} belongs to {owners}"
    if "virtual" in path.parts:
        assert "tautlog" not in heads(path)
    own = WINGS.index(wing(place(path).removesuffix(".py")))
    upward = {one for one in modules(path) if WINGS.index(wing(one)) > own}
    assert not upward, f"{place(path)} imports upward"


def test_every_wing_is_there():
    assert {wing(place(path).removesuffix(".py")) for path in inside} == set(WINGS)


def test_no_two_modules_import_each_other():
    left = {}
    for path in inside:
        name = place(path).removesuffix(".py").removesuffix("/__init__")
        left[name] = modules(path) - {name}
    while free := {name for name, below in left.items() if not below & left.keys()}:
        left = {name: below for name, below in left.items() if name not in free}
    assert not left, "a circle"


@pytest.mark.parametrize("path", firmware_files, ids=lambda path: path.relative_to(FIRMWARE).name)
def test_firmware_file(path):
    on_hardware = path.parent.name == "hardware" or path.name in ("board.py", "bare.py")
    hardware = {"machine", "rp2", "uctypes", "micropython", "hardware"}
    assert "tautlog" not in heads(path)
    assert on_hardware or not hardware & heads(path)
    own = {one.stem for one in firmware_files}
    plain = {"json", "struct", "binascii", "array", "os"}
    with_system = plain | hardware | {"gc", "os", "select", "sys", "time"}
    # What runs before anything else, or when all else fails, asks the interpreter itself.
    first = plain
    if path.name in ("main.py", "config_check.py", "halt.py"):
        first = plain | {"gc", "io", "sys", "traceback"}
    assert heads(path) <= own | (with_system if on_hardware else first)


def test_only_the_command_line_prints():
    for path in host_files:
        if "cli" in path.parts:
            continue
        calls = [
            node.func.id
            for node in ast.walk(ast.parse(path.read_text()))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        ]
        assert "print" not in calls, path


@pytest.mark.parametrize("command", ["--help", "list"])
def test_help_and_a_list_load_nothing_heavy(command, tmp_path):
    """A list comes from the catalogue: HDF5 and numpy would double its time."""
    import subprocess

    code = (
        f"import sys; from tautlog.cli import run; run([{command!r}])\n"
        "heavy = {'numpy', 'scipy', 'h5py', 'matplotlib', 'serial', 'rich'} & set(sys.modules)\n"
        "sys.exit(str(heavy) if heavy else 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path
    )
    assert done.returncode == 0, done.stderr
