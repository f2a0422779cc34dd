"""What a file of Python says, read as text."""

import ast


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
