"""The faults: what one expression of a module can be changed to.

Operators after Offutt AJ, et al. An experimental determination of sufficient mutant operators.
ACM Trans Softw Eng Methodol 1996;5:99-118 (relational, logical, arithmetic, and constants).
"""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "src" / "ebbline"

COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}
CALLS = {"min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum",
         "maximum": "minimum", "floor": "ceil", "ceil": "floor", "argmin": "argmax",
         "argmax": "argmin"}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One fault. line: where; before, after: the expression; nth: of equal ones in the function.

    source: the whole module before it, parsed in `parsed`, of which `node` becomes `changed`.
    """

    path: str
    function: str
    line: int
    before: str
    after: str
    nth: int
    parsed: ast.Module
    node: ast.expr
    changed: ast.expr
    in_kernel: bool
    source: str

    @property
    def tree(self) -> ast.Module:
        """The module with the fault in it."""
        return _with(self.parsed, self.node, self.changed)

    @property
    def file(self) -> Path:
        """Where the module lies."""
        return PACKAGE / self.path

    @property
    def module(self) -> str:
        """The module's full name."""
        return ".".join(("ebbline", *Path(self.path).with_suffix("").parts)).removesuffix(
            ".__init__"
        )

    @property
    def given(self) -> list[str]:
        """The names that the statement of a module's body around it gives."""
        for one in self.parsed.body:
            if one.lineno <= self.line <= (one.end_lineno or one.lineno):
                targets: list[ast.AST] = list(one.targets) if isinstance(one, ast.Assign) else []
                if isinstance(one, ast.AnnAssign):
                    targets = [one.target]
                return [n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name)]
        return []

    @property
    def is_beside_kernels(self) -> bool:
        """Whether its module has compiled loops, whose caches know nothing of a fault."""
        return "\n@kernel" in self.source

    @property
    def name(self) -> str:
        """What stays the same when lines above it come and go."""
        count = f" #{self.nth}" if self.nth else ""
        return f"{self.path}::{self.function}: {self.before} -> {self.after}{count}"


def mutants(source: str, path: str) -> list[Mutant]:
    """All mutants of a module, in the order of the source."""
    tree = ast.parse(source)
    made: list[Mutant] = []
    seen: dict[tuple[str, str, str], int] = {}
    for node, function, in_kernel in _places(tree):
        for changed in _changes(node):
            before, after = ast.unparse(node), ast.unparse(changed)
            key = (function, before, after)
            seen[key] = seen.get(key, -1) + 1
            made.append(
                Mutant(
                    path,
                    function,
                    node.lineno,
                    before,
                    after,
                    seen[key],
                    tree,
                    node,
                    changed,
                    in_kernel,
                    source,
                )
            )
    return made


def _with(tree: ast.Module, node: ast.expr, changed: ast.expr) -> ast.Module:
    """A copy of the tree with one node changed."""

    class Put(ast.NodeTransformer):
        def visit(self, here: ast.AST) -> ast.AST:
            return changed if here is node else super().visit(here)

    # The transformer works in place: copy first, keeping the identity of the one node.
    whole = copy.deepcopy(tree, {id(node): node})
    return ast.fix_missing_locations(Put().visit(whole))


def _places(tree: ast.Module) -> Iterator[tuple[ast.expr, str, bool]]:
    """Expressions that can be changed, with the function around them."""

    def walk(node: ast.AST, function: str, in_kernel: bool) -> Iterator[tuple[ast.expr, str, bool]]:
        for field, value in ast.iter_fields(node):
            if field in {"annotation", "returns", "decorator_list", "type_params"}:
                continue
            for child in value if isinstance(value, list) else [value]:
                if not isinstance(child, ast.AST) or _is_prose(child):
                    continue
                name, kernel = function, in_kernel
                if isinstance(child, ast.FunctionDef | ast.ClassDef):
                    name = f"{function}.{child.name}" if function != "module" else child.name
                    kernel = in_kernel or any(
                        "kernel" in ast.unparse(d) for d in child.decorator_list
                    )
                if isinstance(child, ast.Raise) or _is_type_checking(child):
                    continue
                if isinstance(child, ast.expr):
                    yield child, name, kernel
                yield from walk(child, name, kernel)

    yield from walk(tree, "module", False)


def _is_prose(node: ast.AST) -> bool:
    """Text that nobody computes with: docstrings and the pieces of sentences."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return True
    return isinstance(node, ast.JoinedStr)


def _is_type_checking(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)


def _changes(node: ast.expr) -> Iterator[ast.expr]:
    match node:
        case ast.Compare(ops=[op]) if type(op) in COMPARISONS:
            for other in COMPARISONS[type(op)]:
                yield ast.Compare(node.left, [other()], node.comparators)
        case ast.Compare(ops=[first, second]):
            for at, op in ((0, first), (1, second)):
                for other in COMPARISONS.get(type(op), ())[:1]:
                    ops = [first, second]
                    ops[at] = other()
                    yield ast.Compare(node.left, ops, node.comparators)
        case ast.BoolOp(op=op, values=values):
            yield ast.BoolOp(ast.Or() if isinstance(op, ast.And) else ast.And(), values)
        case ast.BinOp(left=left, op=op, right=right) if type(op) in ARITHMETIC:
            if not any(isinstance(s, ast.Constant | ast.JoinedStr) and not _number(s)
                       for s in (left, right)):  # fmt: skip
                yield ast.BinOp(left, ARITHMETIC[type(op)](), right)
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            yield operand
        case ast.IfExp(test=test, body=body, orelse=orelse):
            yield ast.IfExp(test, orelse, body)
        case ast.Constant(value=bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(value=int() as value):
            yield ast.Constant(value + 1)
        case ast.Constant(value=float() as value):
            yield ast.Constant(value * 1.5 if value else 1.0)
        case ast.Call(func=ast.Name(id=name), args=args, keywords=keywords) if name in CALLS:
            yield ast.Call(ast.Name(CALLS[name], ast.Load()), args, keywords)
        case ast.Call(func=ast.Attribute(value=of, attr=name), args=args, keywords=keywords) if (
            name in CALLS
        ):
            yield ast.Call(ast.Attribute(of, CALLS[name], ast.Load()), args, keywords)


def _number(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, int | float)
