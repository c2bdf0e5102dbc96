"""Compile the portable subset of Python to an ES module for the tablet.

The subset: NamedTuples, plain functions with positional or keyword arguments, module constants,
floats, bools, strings, None, lists, dicts with string keys, if/while/for, `math`. A construct
outside it is refused by name and line, so that nothing is translated that means something else
in JavaScript.

What compiled code calls for Python's meaning of ``==``, ``in``, ``sorted`` and the like is one
module that all others import. ``python -m inspections.portable`` writes it; ``--check`` tells by
its exit code (1) that the committed one is out of date.
"""

import argparse
import ast
import json
import re
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import pscript
from pscript import stdlib

RUNTIME = Path(__file__).parent / "static" / "inspections" / "tablet" / "runtime.js"
# What the compiled modules call by now; another name is added here when a module wants it.
_FUNCTIONS = (
    *("abs", "create_dict", "float", "op_add", "op_contains", "op_equals", "op_error", "op_mult"),
    *("sorted", "str", "truthy"),
)
_METHODS = ("append", "endswith", "format", "get", "split", "startswith")
_REFUSED: dict[type[ast.AST], str] = {
    ast.Match: "match",
    ast.Set: "set",
    ast.SetComp: "set comprehension",
    ast.ListComp: "list comprehension",
    ast.DictComp: "dict comprehension",
    ast.GeneratorExp: "generator",
    ast.Pow: "the power operator (use math.pow)",
    ast.FloorDiv: "floor division",
    ast.Mod: "modulo and % formatting",
    ast.Lambda: "lambda",
    ast.Try: "try",
    ast.With: "with",
    ast.NamedExpr: "assignment expression",
    ast.Global: "global",
    ast.Starred: "starred argument",
    ast.AsyncFunctionDef: "async",
}
_MATH = {"pi": "PI", "fabs": "abs", "inf": "Infinity"} | {
    name: name for name in ("pow", "sqrt", "log", "exp", "floor", "ceil", "sin", "cos", "acos")
}


class NotPortable(ValueError):
    """A module uses something that the portable subset has not; the text names it and its line."""


class Above(NamedTuple):
    """An ES module that another one imports: its address, and the Python modules it is made of."""

    address: str
    sources: Sequence[Path]


def compile_modules(
    sources: Sequence[Path],
    exports: Sequence[str],
    data: Mapping[str, object] | None = None,
    above: Above | None = None,
) -> str:
    """Return the text of an ES module that does what the Python modules do.

    Parameters
    ----------
    sources
        Modules in the order of their dependence; imports among them are dropped.
    exports
        Names of functions and constants that the ES module exports.
    data
        Constants written as JSON and exported under their key (tables read from the catalogue).
    above
        Another ES module, whose names this one imports.

    Raises
    ------
    NotPortable
        When a module leaves the subset, or an exported name is not defined.
    """
    trees = _trees(sources)
    statements = [statement for tree in trees for statement in tree.body]
    others = _trees(above.sources) if above else []
    _refuse_twice([*(above.sources if above else ()), *sources], [*others, *trees])
    outside = [statement for tree in others for statement in tree.body]
    signatures = _signatures([*outside, *statements])
    for name in exports:
        if name not in signatures and name not in _constants(statements):
            raise NotPortable(f"export {name!r} is not defined in {[s.name for s in sources]}")
    rewrite = _Rewrite(signatures)
    body = [kept for kept in map(rewrite.visit, statements) if kept is not None]
    module = ast.fix_missing_locations(ast.Module(body=body, type_ignores=[]))
    code = pscript.py2js(ast.unparse(module), docstrings=False, inline_stdlib=False)
    return "\n".join(
        [
            f"// Written from {', '.join(source.name for source in sources)}: change those.",
            *(
                f"export const {name} = {json.dumps(value, ensure_ascii=False)};"
                for name, value in (data or {}).items()
            ),
            *_imports(sources, above),
            *_from_runtime(code),
            code.strip(),
            f"export {{ {', '.join(exports)} }};",
            "",
        ]
    )


def names_from(sources: Sequence[Path], above: Sequence[Path]) -> list[str]:
    """Return the functions, records and constants of other modules that these modules use.

    Parameters
    ----------
    sources, above
        The modules that use, and those that define.
    """
    defined = [statement for tree in _trees(above) for statement in tree.body]
    known = _signatures(defined).keys() | _constants(defined)
    used = {
        node.id
        for tree in _trees(sources)
        for node in ast.walk(tree)
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)
    }
    return sorted(known & used)


def _trees(sources: Sequence[Path]) -> list[ast.Module]:
    return [ast.parse(source.read_text(encoding="utf-8")) for source in sources]


def _imports(sources: Sequence[Path], above: Above | None) -> list[str]:
    if above is None:
        return []
    names = ", ".join(names_from(sources, above.sources))
    return [f'import {{ {names} }} from "{above.address}";']


def runtime() -> str:
    """Return the text of the ES module that every compiled one imports."""
    functions, methods = set(_FUNCTIONS), set(_METHODS)
    sources = [stdlib.FUNCTIONS[name] for name in _FUNCTIONS]
    for source in sources + [stdlib.METHODS[name] for name in _METHODS]:
        _, other_functions, other_methods = stdlib.get_std_info(source)
        functions.update(other_functions)
        methods.update(other_methods)
    names = ", ".join(sorted(_runtime_names()))
    return "\n".join(
        [
            "// Python's own operators, functions and methods, as compiled modules call them.",
            stdlib.get_partial_std_lib(functions, methods),
            f"export {{ {names} }};",
            "",
        ]
    )


def _runtime_names() -> set[str]:
    functions = {stdlib.FUNCTION_PREFIX + name for name in _FUNCTIONS}
    return functions | {stdlib.METHOD_PREFIX + name for name in _METHODS}


def _from_runtime(code: str) -> list[str]:
    used = set(re.findall(rf"\b(?:{stdlib.FUNCTION_PREFIX}|{stdlib.METHOD_PREFIX})\w+", code))
    if missing := used - _runtime_names():
        raise NotPortable(f"the runtime has no {', '.join(sorted(missing))}")
    return [f'import {{ {", ".join(sorted(used))} }} from "./{RUNTIME.name}";'] if used else []


def write_or_check(text: str, out: Path, arguments: Sequence[str] | None = None) -> int:
    """Write the module; with ``--check`` only tell whether the committed one is current (0) or not.

    Parameters
    ----------
    text
        What `compile_modules` returned.
    out
        The committed file.
    arguments
        Command line; None reads the process's own.
    """
    parser = argparse.ArgumentParser(description=f"Write {out.name}")
    parser.add_argument("--check", action="store_true", help="write nothing; 1 when out of date")
    if parser.parse_args(arguments).check:
        return int(not out.exists() or out.read_text(encoding="utf-8") != text)
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(text, encoding="utf-8")
    return 0


def _refuse_twice(sources: Sequence[Path], trees: Sequence[ast.Module]) -> None:
    """All modules become one: a name that two of them define would mean the later one in both."""
    where: dict[str, str] = {}
    for source, tree in zip(sources, trees, strict=True):
        functions = {n.name for n in tree.body if isinstance(n, ast.FunctionDef | ast.ClassDef)}
        for name in sorted(functions | _constants(tree.body)):
            if name in where:
                raise NotPortable(f"{name} is defined in {where[name]} and in {source.name}")
            where[name] = source.name


def _refuse_kinds(node: ast.Call) -> None:
    """Of several kinds at once the compiler knows numbers and lists only."""
    kinds = node.args[1]
    if isinstance(kinds, ast.Tuple) and ast.unparse(kinds) not in ("(int, float)", "(list, tuple)"):
        raise NotPortable(f"line {node.lineno}: isinstance of {ast.unparse(kinds)}")


def _is_record(statement: ast.stmt) -> bool:
    return isinstance(statement, ast.ClassDef) and any(
        isinstance(base, ast.Name) and base.id == "NamedTuple" for base in statement.bases
    )


def _signatures(statements: Sequence[ast.stmt]) -> dict[str, list[tuple[str, ast.expr | None]]]:
    """Give the parameters of each function and record, with their defaults."""
    found: dict[str, list[tuple[str, ast.expr | None]]] = {}
    for statement in statements:
        if isinstance(statement, ast.FunctionDef):
            found[statement.name] = _parameters(statement)
        elif isinstance(statement, ast.ClassDef) and _is_record(statement):
            found[statement.name] = [
                (field.target.id, field.value)
                for field in statement.body
                if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name)
            ]
    return found


def _parameters(function: ast.FunctionDef) -> list[tuple[str, ast.expr | None]]:
    arguments = function.args
    if arguments.vararg or arguments.kwarg:
        raise NotPortable(f"line {function.lineno}: starred parameter of {function.name}")
    plain = [*arguments.posonlyargs, *arguments.args]
    missing: list[ast.expr | None] = [None] * (len(plain) - len(arguments.defaults))
    pairs = zip(plain, [*missing, *arguments.defaults], strict=True)
    named = zip(arguments.kwonlyargs, arguments.kw_defaults, strict=True)
    return [(argument.arg, default) for argument, default in [*pairs, *named]]


def _constants(statements: Sequence[ast.stmt]) -> set[str]:
    return {
        target.id
        for statement in statements
        if isinstance(statement, ast.Assign | ast.AnnAssign)
        for target in (
            statement.targets if isinstance(statement, ast.Assign) else [statement.target]
        )
        if isinstance(target, ast.Name)
    }


class _Rewrite(ast.NodeTransformer):
    """Bring a module of the subset to what the compiler reads, or refuse it."""

    def __init__(self, signatures: dict[str, list[tuple[str, ast.expr | None]]]) -> None:
        self.signatures = signatures

    def visit(self, node: ast.AST) -> Any:
        for kind, word in _REFUSED.items():
            inside = [node, getattr(node, "op", node)]
            if any(isinstance(part, kind) for part in inside):
                raise NotPortable(f"line {getattr(node, 'lineno', 0)}: {word}")
        return super().visit(node)

    def visit_Import(self, node: ast.Import) -> None:
        return None

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        return None

    def visit_Expr(self, node: ast.Expr) -> ast.AST | None:
        return None if isinstance(node.value, ast.Constant) else self.generic_visit(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        if not _is_record(node):
            raise NotPortable(f"line {node.lineno}: class {node.name} is no NamedTuple")
        fields = self.signatures[node.name]
        record = ast.Dict(
            keys=[ast.Constant(name) for name, _ in fields],
            values=[ast.Name(name, ast.Load()) for name, _ in fields],
        )
        return ast.FunctionDef(
            name=node.name,
            args=self._plain(fields),
            body=[ast.Return(record)],
            decorator_list=[],
        )

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        if node.decorator_list:
            raise NotPortable(f"line {node.lineno}: decorator of {node.name}")
        body = [kept for kept in map(self.visit, node.body) if kept is not None]
        return ast.FunctionDef(
            name=node.name,
            args=self._plain(_parameters(node)),
            body=body or [ast.Pass()],
            decorator_list=[],
        )

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST | None:
        if node.value is None:
            return None
        return ast.Assign(targets=[node.target], value=self.visit(node.value))

    def visit_Attribute(self, node: ast.Attribute) -> ast.AST:
        if isinstance(node.value, ast.Name) and node.value.id == "math":
            if node.attr not in _MATH:
                raise NotPortable(f"line {node.lineno}: math.{node.attr}")
            if node.attr == "inf":
                return ast.Name("Infinity", ast.Load())
            return ast.Attribute(ast.Name("Math", ast.Load()), _MATH[node.attr], node.ctx)
        return self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> ast.AST:
        if isinstance(node.func, ast.Name) and node.func.id == "isinstance":
            _refuse_kinds(node)
        if isinstance(node.func, ast.Attribute) and node.func.attr == "_replace":
            return self._replaced(node)
        if not node.keywords:
            return self.generic_visit(node)
        if not isinstance(node.func, ast.Name) or node.func.id not in self.signatures:
            raise NotPortable(f"line {node.lineno}: keyword argument to an unknown function")
        return ast.Call(func=node.func, args=self._positional(node, node.func.id), keywords=[])

    def _replaced(self, node: ast.Call) -> ast.AST:
        func = node.func
        assert isinstance(func, ast.Attribute)
        changes = ast.Dict(
            keys=[ast.Constant(keyword.arg) for keyword in node.keywords],
            values=[self.visit(keyword.value) for keyword in node.keywords],
        )
        assign = ast.Attribute(ast.Name("Object", ast.Load()), "assign", ast.Load())
        return ast.Call(assign, [ast.Dict([], []), self.visit(func.value), changes], [])

    def _positional(self, node: ast.Call, name: str) -> list[ast.expr]:
        given = {keyword.arg: keyword.value for keyword in node.keywords}
        values = list(node.args)
        for field, default in self.signatures[name][len(values) :]:
            value = given.pop(field, default)
            if value is None:
                raise NotPortable(f"line {node.lineno}: {name} lacks {field}")
            values.append(value)
        if given:
            raise NotPortable(f"line {node.lineno}: {name} knows no {sorted(map(str, given))}")
        return [self.visit(value) for value in values]

    def _plain(self, fields: Sequence[tuple[str, ast.expr | None]]) -> ast.arguments:
        return ast.arguments(
            posonlyargs=[],
            args=[ast.arg(name) for name, _ in fields],
            kwonlyargs=[],
            kw_defaults=[],
            defaults=[self.visit(default) for _, default in fields if default is not None],
        )


if __name__ == "__main__":
    sys.exit(write_or_check(runtime(), RUNTIME))
