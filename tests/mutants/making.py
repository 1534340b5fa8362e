"""Mutants: the faults that cosmic-ray can make in a module, and a seeded choice of them."""

from __future__ import annotations

import ast
import random
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROOMS = {
    "verdict": "jarvision/verdict",
    "growth": "jarvision/growth",
    "tissue": "jarvision/vision/tissue",
    "jar": "jarvision/vision/jar",
}

# Of all pairs of signs those of a slip of the pen: what breaks on any value proves nothing.
SIGNS = (
    "Add_Sub Sub_Add Mul_Div Div_Mul FloorDiv_Mul Mod_FloorDiv Pow_Mul BitOr_BitAnd BitAnd_BitOr"
)
COMPARISONS = "Lt_LtE Lt_GtE LtE_Lt LtE_Gt Gt_GtE Gt_LtE GtE_Gt GtE_Lt Eq_NotEq NotEq_Eq"
IDENTITIES = "Is_IsNot IsNot_Is"
OPERATORS = (
    *(f"core/ReplaceBinaryOperator_{pair}" for pair in SIGNS.split()),
    *(f"core/ReplaceComparisonOperator_{pair}" for pair in COMPARISONS.split()),
    *(f"core/ReplaceComparisonOperator_{pair}" for pair in IDENTITIES.split()),
    *(f"core/ReplaceUnaryOperator_Delete_{sign}" for sign in ("USub", "Invert", "Not")),
    "core/AddNot",
    "core/ReplaceAndWithOr",
    "core/ReplaceOrWithAnd",
    "core/ReplaceTrueWithFalse",
    "core/ReplaceFalseWithTrue",
    "core/ReplaceBreakWithContinue",
    "core/ReplaceContinueWithBreak",
    "core/NumberReplacer",
    "core/ZeroIterationForLoop",
    "core/ExceptionReplacer",
)

Place = tuple[tuple[int, int], tuple[int, int]]


@dataclass(frozen=True)
class Mutant:
    """One fault: in which module and lines (from 1), what stood there, what stands there now."""

    module: str
    first_line: int
    last_line: int
    operator: str
    occurrence: int
    was: str
    now: str

    @property
    def room(self) -> str:
        """The room that the module stands in."""
        return next(room for room, folder in ROOMS.items() if self.module.startswith(f"{folder}/"))

    def code(self) -> str:
        """The whole module with the fault in it."""
        source = (ROOT / self.module).read_text("utf-8")
        return _mutated(source, f"core/{self.operator}", self.occurrence)


def draw(room: str, count: int, seed: int) -> list[Mutant]:
    """Choose so many places of a room, each as likely as any other, and one fault for each."""
    places = [
        (path.relative_to(ROOT).as_posix(), faults)
        for path in sorted((ROOT / ROOMS[room]).rglob("*.py"))
        for faults in _places(path.read_text("utf-8"))
    ]
    chance = random.Random(f"{seed} {room}")
    chosen = chance.sample(places, min(count, len(places)))
    return [_mutant(module, *chance.choice(faults)) for module, faults in chosen]


def size(room: str) -> int:
    """In how many places of a room a fault can be put."""
    files = (ROOT / ROOMS[room]).rglob("*.py")
    return sum(len(list(_places(path.read_text("utf-8")))) for path in files)


def _mutated(source: str, operator: str, occurrence: int) -> str:
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    mutated = mutate_code(source, get_operator(operator)(), occurrence)
    if mutated is None:
        raise ValueError(f"there is no place number {occurrence} for {operator}")
    return str(mutated)


def _places(source: str) -> Iterator[list[tuple[str, int]]]:
    """Every place that can be mutated, with its faults: operator and occurrence."""
    from cosmic_ray.ast import ast_nodes, get_ast
    from cosmic_ray.plugins import get_operator

    tree, lines = get_ast(source), source.splitlines()
    no_code = list(_told_to_readers(ast.parse(source)))
    found: dict[Place, list[tuple[str, int]]] = defaultdict(list)
    for name in OPERATORS:
        operator = get_operator(name)()
        spots = (spot for node in ast_nodes(tree) for spot in operator.mutation_positions(node))
        for occurrence, place in enumerate(spots):
            (row, column), _ = place
            bare_star = lines[row - 1][column:] == "*," or lines[row - 1][column:].startswith("*, ")
            if not bare_star and not any(begin <= place[0] < end for begin, end in no_code):
                found[place].append((name, occurrence))
    yield from (faults for _, faults in sorted(found.items()))


def _told_to_readers(tree: ast.Module) -> Iterator[Place]:
    """What mypy holds, not the tests: types, asserts, and decorators (``frozen=True``)."""
    for node in ast.walk(tree):
        for decorator in getattr(node, "decorator_list", ()):
            yield _span(decorator)
        match node:
            case ast.arg(annotation=ast.expr() as told) | ast.AnnAssign(annotation=told):
                yield _span(told)
            case ast.FunctionDef(returns=ast.expr() as told):
                yield _span(told)
            case ast.Assert():
                yield _span(node)
    for statement in tree.body:  # names for types
        if isinstance(statement, ast.Assign) and isinstance(statement.value, ast.Subscript):
            yield _span(statement)


def _span(node: ast.expr | ast.stmt) -> Place:
    end = (node.end_lineno or node.lineno, node.end_col_offset or 0)
    return (node.lineno, node.col_offset), end


def _mutant(module: str, operator: str, occurrence: int) -> Mutant:
    source = (ROOT / module).read_text("utf-8")
    now = _mutated(source, operator, occurrence)
    pairs = zip(source.splitlines(), now.splitlines(), strict=True)
    changed = [(number, *pair) for number, pair in enumerate(pairs, 1) if pair[0] != pair[1]]
    line = changed[0][0]
    first, last = _statement(ast.parse(source), line)
    return Mutant(
        module=module,
        first_line=first,
        last_line=last,
        operator=operator.removeprefix("core/"),
        occurrence=occurrence,
        was=_told(was for _, was, _ in changed),
        now=_told(now for _, _, now in changed),
    )


def _told(lines: Iterable[str]) -> str:
    return " ".join(" ".join(lines).split())


def _statement(tree: ast.Module, line: int) -> tuple[int, int]:
    """First and last line of the statement about a line; of a compound one its head."""
    holding = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.stmt) and node.lineno <= line <= (node.end_lineno or line)
    ]
    inner = max(holding, key=lambda node: node.lineno)
    body = getattr(inner, "body", None)
    last = body[0].lineno - 1 if body else (inner.end_lineno or line)
    return inner.lineno, max(last, line)
