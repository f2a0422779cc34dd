"""Folded: the firmware's numbers put where they are used, before it is compiled.

MicroPython keeps each name of a module in memory for good, with its place in the module's table,
though only its number is ever wanted. An RP2040 has no room for some two hundred of them.
"""

from __future__ import annotations

import ast
from collections.abc import Mapping

Numbers = Mapping[str, int]
Edit = tuple[tuple[int, int], tuple[int, int], str]  # line and column: from, to; what comes there


def numbers_of(source: str) -> dict[str, int]:
    """Whole numbers that a module gives names in capitals at its top.

    Parameters
    ----------
    source : str
        Of the module. A number may be reckoned from those before it.
    """
    found: dict[str, int] = {}
    for statement in ast.parse(source).body:
        found.update(_given(statement, found))
    return found


def fold(source: str, own: str, modules: Mapping[str, Numbers]) -> str:
    """The source of one file with numbers in place of names; lines keep their numbers.

    Parameters
    ----------
    source : str
        In ASCII.
    own : str
        Name of this file's module, whose definitions of numbers go.
    modules : mapping
        Numbers of each module that is folded, by its name without its package.
    """
    tree = ast.parse(source)
    known = dict(modules.get(own, {}))
    edits = []
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            numbers = modules.get((node.module or "").rpartition(".")[2], {})
            taken = {one.name: numbers[one.name] for one in node.names if one.name in numbers}
            if taken:
                known.update(taken)
                edits.append(_edit(node, _import_of(node, numbers)))
    if own in modules:
        edits += [_edit(one, "") for one in tree.body if _given(one, known)]
    gone = list(edits)
    for node in ast.walk(tree):
        number = _number_at(node, known, modules)
        if number is not None:
            one = _edit(node, str(number) if number >= 0 else f"({number})")
            if not any(start <= one[0] and one[1] <= end for start, end, _ in gone):
                edits.append(one)
    return _edited(source, edits)


def _given(statement: ast.stmt, known: Numbers) -> dict[str, int]:
    """Names in capitals to which a statement gives whole numbers, all of them or none."""
    if not isinstance(statement, ast.Assign) or len(statement.targets) != 1:
        return {}
    target = statement.targets[0]
    targets = target.elts if isinstance(target, ast.Tuple) else [target]
    names = [one.id for one in targets if isinstance(one, ast.Name) and one.id.isupper()]
    try:
        code = compile(ast.Expression(statement.value), "", "eval")
        value = eval(code, {"__builtins__": {"range": range}}, dict(known))
        values = list(value) if isinstance(target, ast.Tuple) else [value]
    except Exception:  # not reckoned from numbers alone
        return {}
    if len(names) != len(targets) or any(type(one) is not int for one in values):
        return {}
    return dict(zip(names, values, strict=True))


def _number_at(node: ast.AST, known: Numbers, modules: Mapping[str, Numbers]) -> int | None:
    """The number that an expression names: NAME, or module.NAME."""
    if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
        return known.get(node.id)
    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name | ast.Attribute):
        owner = node.value
        module = owner.id if isinstance(owner, ast.Name) else owner.attr  # or package.module
        return modules.get(module, {}).get(node.attr)
    return None


def _import_of(node: ast.ImportFrom, numbers: Numbers) -> str:
    left = [one for one in node.names if one.name not in numbers]
    return ast.unparse(ast.ImportFrom(node.module, left, node.level)) if left else ""


def _edit(node: ast.stmt | ast.expr | ast.AST, text: str) -> Edit:
    assert isinstance(node, ast.stmt | ast.expr)
    assert node.end_lineno is not None and node.end_col_offset is not None
    start = node.lineno - 1, node.col_offset
    return start, (node.end_lineno - 1, node.end_col_offset), text


def _edited(source: str, edits: list[Edit]) -> str:
    lines = source.splitlines()
    for (first, start), (last, end), text in sorted(edits, reverse=True):
        rest = lines[last][end:]
        lines[first] = lines[first][:start] + text + (rest if last == first else "")
        if last > first:
            lines[first + 1 : last + 1] = [""] * (last - first)
            lines[last] = rest
    return "\n".join(lines) + "\n"
