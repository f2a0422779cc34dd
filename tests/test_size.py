"""How large anything may be. The limits stand in DEVELOPERS.md."""

import ast

import pytest
from places import HOST

MODULE, CLASS, FUNCTION, PARAMETERS, BRANCHES = 450, 250, 50, 8, 15
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)
BRANCHING = (
    ast.If,
    ast.For,
    ast.While,
    ast.ExceptHandler,
    ast.IfExp,
    ast.BoolOp,
    ast.comprehension,
    ast.match_case,
)


def lines(node):
    return node.end_lineno - node.lineno + 1


def parameters(function):
    named = function.args.posonlyargs + function.args.args + function.args.kwonlyargs
    return len([one for one in named if one.arg not in ("self", "cls")])


def branches(function):
    return sum(isinstance(node, BRANCHING) for node in ast.walk(function))


def is_callback(function):
    """Whether click calls it: it has a parameter for each option."""
    return any(
        "click" in ast.dump(one) or "option" in ast.dump(one) for one in function.decorator_list
    )


def too_large(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef) and lines(node) > CLASS:
            yield f"class {node.name} has {lines(node)} lines"
        if not isinstance(node, FUNCTIONS):
            continue
        if not is_callback(node):
            if lines(node) > FUNCTION:
                yield f"{node.name} has {lines(node)} lines"
            if parameters(node) > PARAMETERS:
                yield f"{node.name} has {parameters(node)} parameters"
        if branches(node) > BRANCHES:
            yield f"{node.name} has {branches(node)} branches"


@pytest.mark.parametrize("path", sorted(HOST.rglob("*.py")), ids=lambda p: str(p.relative_to(HOST)))
def test_nothing_is_too_large(path):
    text = path.read_text()
    assert len(text.splitlines()) <= MODULE
    assert list(too_large(ast.parse(text))) == []
