"""The faults put into the calculation rooms: one small change to one expression each.

A mutant is a place in a file's syntax tree and one change there. What is left out, because it can
not change a number, or because no user should rely on it: docstrings and annotations, decorators,
everything inside `raise` and `assert` and inside f-strings (messages), default values of arguments
and fields, strings, what stands outside functions, and the keywords in `INERT`.
"""

from __future__ import annotations

import ast
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

ARITHMETIC = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
BOUNDARY = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
COMPARISON = {
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
SWAPPED = {
    "min": "max",
    "minimum": "maximum",
    "fmin": "fmax",
    "nanmin": "nanmax",
    "argmin": "argmax",
    "floor": "ceil",
    "any": "all",
    "cumsum": "cumprod",
    "sum": "mean",
}
SWAPPED |= {new: old for old, new in SWAPPED.items() if old not in {"sum", "cumsum"}}
# Keywords that only guard, speed up or point at a line of the caller.
INERT = {"strict", "copy", "stacklevel", "encoding", "out", "optimize", "maxsize", "repr"}
_FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)


class Mutant(NamedTuple):
    """One change: where, of which kind, and how it reads before and after."""

    file: str
    function: str
    line: int
    end_line: int
    statement_line: int
    operator: str
    node: int
    change: int
    before: str
    after: str


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.JoinedStr) or (
        isinstance(node, ast.Constant) and isinstance(node.value, str)
    )


def _changes(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """Yield (operator, the node that takes the place of this one)."""
    match node:
        case ast.BinOp(left, op, right) if type(op) in ARITHMETIC:
            if not (_is_text(left) or _is_text(right)):
                yield "arithmetic", ast.BinOp(left, ARITHMETIC[type(op)](), right)
        case ast.AugAssign(target, op, value) if type(op) in ARITHMETIC:
            if not _is_text(value):
                yield "arithmetic", ast.AugAssign(target, ARITHMETIC[type(op)](), value)
        case ast.Compare(left, ops, comparators):
            for kind, table in (("boundary", BOUNDARY), ("comparison", COMPARISON)):
                for at, op in enumerate(ops):
                    if type(op) in table:
                        changed = [*ops[:at], table[type(op)](), *ops[at + 1 :]]
                        yield kind, ast.Compare(left, changed, comparators)
        case ast.BoolOp(op, values):
            other = ast.Or() if isinstance(op, ast.And) else ast.And()
            yield "boolean", ast.BoolOp(other, values)
        case ast.UnaryOp(ast.Not() | ast.Invert(), operand):
            yield "boolean", operand
        case ast.UnaryOp(ast.USub(), operand):
            yield "sign", operand
        case ast.Constant(bool() as value):
            yield "constant", ast.Constant(not value)
        case ast.Constant(int() | float() as value):
            yield "constant", ast.Constant(value + 1)
        case ast.Call(function, arguments, keywords):
            for at, keyword in enumerate(keywords):
                if keyword.arg and keyword.arg not in INERT:
                    kept = [*keywords[:at], *keywords[at + 1 :]]
                    yield "keyword", ast.Call(function, arguments, kept)
            match function:
                case ast.Name(name) if name in SWAPPED:
                    other = ast.Name(SWAPPED[name], ast.Load())
                    yield "swap", ast.Call(other, arguments, keywords)
                case ast.Attribute(value, name) if name in SWAPPED:
                    other = ast.Attribute(value, SWAPPED[name], ast.Load())
                    yield "swap", ast.Call(other, arguments, keywords)
        case ast.IfExp(test, body, orelse):
            yield "branch", ast.IfExp(test, orelse, body)
        case ast.Return(value) if value and not (
            isinstance(value, ast.Constant) and value.value is None
        ):
            yield "return", ast.Return(ast.Constant(None))


def _left_out(node: ast.AST) -> bool:
    if isinstance(node, ast.Raise | ast.Assert | ast.JoinedStr | ast.arguments | ast.AnnAssign):
        return not (isinstance(node, ast.AnnAssign) and node.value is not None)
    return isinstance(node, ast.Expr) and _is_text(node.value)


def _children(node: ast.AST) -> list[ast.AST]:
    children = list(ast.iter_child_nodes(node))
    if isinstance(node, ast.AnnAssign):
        return [node.value] if node.value else []
    if isinstance(node, _FUNCTIONS):
        return list(node.body)
    return children


def _places(tree: ast.Module) -> Iterator[tuple[ast.AST, ast.AST, str, int]]:
    """Yield (node, its parent, the outermost function it is in, line of its statement)."""

    def walk(
        node: ast.AST, parent: ast.AST, names: tuple[str, ...], inside: bool, line: int
    ) -> Iterator[tuple[ast.AST, ast.AST, str, int]]:
        if _left_out(node):
            return
        if isinstance(node, ast.stmt):
            line = node.lineno
        if inside:
            yield node, parent, ".".join(names), line
        if not inside and isinstance(node, (*_FUNCTIONS, ast.ClassDef)):
            names, inside = (*names, node.name), isinstance(node, _FUNCTIONS)
        for child in _children(node):
            yield from walk(child, node, names, inside, line)

    for statement in tree.body:
        yield from walk(statement, tree, (), False, statement.lineno)


def mutants_of(path: Path, name: str) -> list[Mutant]:
    """Return every mutant of a file; `name` is what the file is called in the results."""
    found = []
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for at, (node, _, function, line) in enumerate(_places(tree)):
        for change, (operator, new) in enumerate(_changes(node)):
            first = getattr(node, "lineno", line)
            last = getattr(node, "end_lineno", None) or first
            before, after = ast.unparse(node), ast.unparse(ast.fix_missing_locations(new))
            found.append(
                Mutant(name, function, first, last, line, operator, at, change, before, after)
            )
    return found


def mutated(path: Path, mutant: Mutant) -> ast.Module:
    """Return the syntax tree of the file with the change made."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    node, parent, _, _ = list(_places(tree))[mutant.node]
    _, new = list(_changes(node))[mutant.change]
    ast.copy_location(new, node)
    for field, value in ast.iter_fields(parent):
        if value is node:
            setattr(parent, field, new)
        elif isinstance(value, list):
            setattr(parent, field, [new if item is node else item for item in value])
    return ast.fix_missing_locations(tree)
