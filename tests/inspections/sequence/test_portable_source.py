"""The modules that run in both places stay inside the subset that means the same in both."""

import ast

import pytest

from inspections.portable import NotPortable, compile_modules
from inspections.sequence import compile as compiler

SOURCES = [compiler.HERE / f"{name}.py" for name in compiler.MODULES + compiler.FAULTS_MODULES]
ALLOWED = (
    *(ast.Module, ast.FunctionDef, ast.ClassDef, ast.Return, ast.Assign, ast.AnnAssign),
    *(ast.For, ast.While, ast.If, ast.Raise, ast.Break, ast.Continue, ast.Expr, ast.Pass),
    *(ast.BoolOp, ast.BinOp, ast.UnaryOp, ast.IfExp, ast.Dict, ast.Compare, ast.Call),
    *(ast.Constant, ast.Attribute, ast.Subscript, ast.Slice, ast.Name, ast.List, ast.Tuple),
    *(
        ast.JoinedStr,
        ast.FormattedValue,
        ast.Import,
        ast.ImportFrom,
        ast.alias,
        ast.arguments,
        ast.arg,
    ),
    *(ast.keyword, ast.expr_context, ast.boolop, ast.cmpop, ast.unaryop),
    *(ast.Add, ast.Sub, ast.Mult, ast.Div, ast.BitOr),
)


def outside_subset(tree):
    for node in ast.walk(tree):
        if not isinstance(node, ALLOWED):
            yield f"line {getattr(node, 'lineno', '?')}: {type(node).__name__}"
        if isinstance(node, ast.Import) and [name.name for name in node.names] != ["math"]:
            yield f"line {node.lineno}: {ast.unparse(node)}"
        if isinstance(node, ast.ImportFrom):
            module = node.module or ""
            if module not in ("typing", "collections.abc") and not module.startswith(
                "inspections.sequence."
            ):
                yield f"line {node.lineno}: import of {module}"
        if isinstance(node, ast.ClassDef) and [ast.unparse(b) for b in node.bases] != [
            "NamedTuple"
        ]:
            yield f"line {node.lineno}: class {node.name}"


@pytest.mark.parametrize("source", SOURCES, ids=lambda source: source.stem)
def test_a_module_stays_inside_the_subset(source):
    assert list(outside_subset(ast.parse(source.read_text("utf-8")))) == []


@pytest.mark.parametrize(
    "source",
    [
        "import os",
        "from os import path",
        "def f(x):\n    return x ** 2",
        "names = {1, 2}",
        "names = [x for x in y]",
        "match x:\n    case 1:\n        pass",
        "class A:\n    pass",
        "f = lambda: 1",
    ],
)
def test_what_lies_outside_the_subset_is_found(source):
    assert list(outside_subset(ast.parse(source)))


def test_no_name_is_defined_in_two_modules():
    defined = [
        node.name if isinstance(node, ast.FunctionDef | ast.ClassDef) else ast.unparse(target)
        for source in SOURCES
        for node in ast.parse(source.read_text("utf-8")).body
        for target in [getattr(node, "target", None) or getattr(node, "targets", [None])[0]]
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Assign | ast.AnnAssign)
    ]

    assert sorted(defined) == sorted(set(defined))


def test_a_name_that_two_modules_define_is_refused(tmp_path):
    for name in ("one", "other"):
        (tmp_path / f"{name}.py").write_text("def same(x):\n    return x\n")

    with pytest.raises(NotPortable, match=r"same is defined in one\.py and in other\.py"):
        compile_modules([tmp_path / "one.py", tmp_path / "other.py"], ["same"])


def test_a_test_of_kinds_that_would_mean_something_else_is_refused(tmp_path):
    (tmp_path / "one.py").write_text("def f(x):\n    return isinstance(x, (str, bool))\n")

    with pytest.raises(NotPortable, match=r"line 2: isinstance of \(str, bool\)"):
        compile_modules([tmp_path / "one.py"], ["f"])
