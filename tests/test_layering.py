"""Who may import what. The rule stands in DEVELOPERS.md."""

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
HOST = ROOT / "host" / "tautlog"
FIRMWARE = ROOT / "firmware"
OWNERS = {
    "serial": {"link.py"},
    "mpremote": {"installer.py"},
    "h5py": {
        "entry_seals.py",
        "layout.py",
        "trouble.py",
        "seal.py",
        "reader.py",
        "writer.py",
        "entries.py",
    },
    "matplotlib": {"picture.py", "screen.py", "window.py", "live_window.py"},
    "pyuff": {"export.py"},
    "sqlite3": {"catalogue.py"},
    "distributed": {"batch.py"},
    "jinja2": {"report.py"},
    "fpdf": {"report_pdf.py"},
}
ANALYSIS = [
    "contradictions",
    "in_force",
    "reception",
    "trace",
    "completeness",
    "letting_go",
    "filters",
    "contacts",
    "loss",
    "damage",
    "zero",
    "mains",
    "bounces",
    "swing",
    "estimate",
    "spectrum",
    "stretch",
    "slip",
    "impossible",
    "uncertainty",
    "budgets",
    "marks",
    "marking",
    "judge",
    "calibration",
    "predict",
    "verdict_words",
]
FAR_FROM_ANALYSIS = [
    "link",
    "session",
    "receiver",
    "record",
    "journal",
    "picture",
    "drop",
    "cli",
    "rehearsal",
]


def imports(path):
    """Full names that a file imports, also inside functions."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {one.name for one in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add(node.module or "")
            names |= {f"{node.module}.{one.name}" for one in node.names}
    return names


def heads(path):
    return {name.split(".")[0] for name in imports(path)}


host_files = sorted(HOST.rglob("*.py"))
firmware_files = sorted(FIRMWARE.rglob("*.py"))


@pytest.mark.parametrize("path", host_files, ids=lambda path: str(path.relative_to(HOST)))
def test_host_file(path):
    name, virtual = path.name, "virtual" in path.parts
    for package, owners in OWNERS.items():
        assert package not in heads(path) or name in owners, f"{package} belongs to {owners}"
    of_firmware = {one for one in imports(path) if one.startswith("tautlog.firmware")}
    allowed = {"tautlog.firmware", "tautlog.firmware.wire"}
    assert of_firmware <= allowed
    if virtual:
        assert "tautlog" not in heads(path)
    if "cli" not in path.parts and name != "__main__.py":
        assert not any(f"{one}.".startswith("tautlog.cli.") for one in imports(path))
    if path.stem in ANALYSIS and path.parent == HOST:
        far = {f"tautlog.{one}" for one in FAR_FROM_ANALYSIS}
        assert not far & imports(path)


@pytest.mark.parametrize("path", firmware_files, ids=lambda path: path.relative_to(FIRMWARE).name)
def test_firmware_file(path):
    on_hardware = path.parent.name == "hardware" or path.name in ("board.py", "bare.py")
    hardware = {"machine", "rp2", "uctypes", "micropython", "hardware"}
    assert "tautlog" not in heads(path)
    assert on_hardware or not hardware & heads(path)
    own = {one.stem for one in firmware_files}
    plain = {"json", "struct", "binascii", "array", "os"}
    with_system = plain | hardware | {"gc", "os", "select", "sys", "time"}
    # What runs before anything else asks the interpreter itself.
    first = plain | {"gc", "io", "sys"} if path.name in ("main.py", "config_check.py") else plain
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


def test_help_loads_nothing_heavy():
    import subprocess

    code = (
        "import sys; from tautlog.cli import run; run(['--help'])\n"
        "heavy = {'numpy', 'scipy', 'h5py', 'matplotlib', 'serial', 'rich'} & set(sys.modules)\n"
        "sys.exit(str(heavy) if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
