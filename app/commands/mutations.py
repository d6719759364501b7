"""Small wrong changes of Python code, made from its syntax tree.

Left alone is what can be told to make no difference that anybody could see: the room of a cache and what else a
decorator is given, the rounds allowed to a search (``for _ in range(n)``), a slack for rounding (a float below a
hundred-thousandth: whether it is met exactly, or twice as wide, is chance), a stand-in for no limit (``10**9``), and
words of any kind. A comparison with a slack is turned round instead.
"""

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

COMPARED = {
    ast.Lt: ("<", "<="), ast.LtE: ("<=", "<"), ast.Gt: (">", ">="), ast.GtE: (">=", ">"), ast.Eq: ("==", "!="),
    ast.NotEq: ("!=", "=="), ast.In: ("in", "not in"), ast.NotIn: ("not in", "in"), ast.Is: ("is", "is not"),
    ast.IsNot: ("is not", "is"),
}  # fmt: skip
COUNTED = {ast.Add: ("+", "-"), ast.Sub: ("-", "+"), ast.Mult: ("*", "/"), ast.Div: ("/", "*")}
JOINED = {ast.And: ("and", "or"), ast.Or: ("or", "and")}
TURNED = {"<": ">=", "<=": ">", ">": "<=", ">=": "<"}
SLACK = 1e-5
EXCHANGED = {"min": "max", "max": "min", "any": "all", "all": "any"}


@dataclass(frozen=True, slots=True)
class Mutation:
    """A small wrong change: the file, the text that goes and its place in the file, and what comes instead."""

    file: str
    start: int
    old: str
    new: str
    line: int
    what: str = ""

    def apply(self, text: str) -> str:
        """Return the text of the file with the change made."""
        return text[: self.start] + self.new + text[self.start + len(self.old) :]


class SourceText:
    """The text of a file, and where in it the pieces of its syntax tree stand."""

    def __init__(self, file: str, text: str) -> None:
        self.file, self.text = file, text
        self.lines = text.splitlines(keepends=True)
        self.starts = [0]
        for line in self.lines:
            self.starts.append(self.starts[-1] + len(line))

    def offset(self, line: int, column: int) -> int:
        """Return the place of a line and a column, which the tree counts in bytes."""
        return self.starts[line - 1] + len(self.lines[line - 1].encode()[:column].decode())

    def start(self, node: Any) -> int:
        """Return where a piece begins."""
        return self.offset(node.lineno, node.col_offset)

    def end(self, node: Any) -> int:
        """Return where a piece ends."""
        return self.offset(node.end_lineno, node.end_col_offset)

    def instead(self, node: Any, new: str) -> Iterator[Mutation]:
        """Put another text in the place of a piece."""
        start = self.start(node)
        yield Mutation(self.file, start, self.text[start : self.end(node)], new, node.lineno)

    def between(self, left: Any, right: Any, signs: tuple[str, str]) -> Iterator[Mutation]:
        """Exchange the sign between two pieces."""
        start, end = self.end(left), self.start(right)
        if signs[0] in self.text[start:end] and "#" not in self.text[start:end]:
            yield Mutation(self.file, start + self.text[start:end].index(signs[0]), *signs, left.end_lineno)


def _of_comparison(source: SourceText, node: Any) -> Iterator[Mutation]:
    if len(node.ops) != 1:
        return
    sides = (node.left, node.comparators[0])
    sign, other = COMPARED[type(node.ops[0])]
    yield from source.between(*sides, (sign, TURNED.get(sign, other) if any(map(_is_slack, sides)) else other))


def _of_sum(source: SourceText, node: Any) -> Iterator[Mutation]:
    sides = (node.left, node.right)
    text = any(
        isinstance(s, ast.JoinedStr) or (isinstance(s, ast.Constant) and isinstance(s.value, str | bytes))
        for s in sides
    )
    if type(node.op) in COUNTED and not text:
        yield from source.between(*sides, COUNTED[type(node.op)])


def _of_joined(source: SourceText, node: Any) -> Iterator[Mutation]:
    yield from source.between(node.values[0], node.values[1], JOINED[type(node.op)])


def _of_sign(source: SourceText, node: Any) -> Iterator[Mutation]:
    if isinstance(node.op, ast.Not | ast.USub):
        yield from source.instead(node, source.text[source.start(node.operand) : source.end(node.operand)])


def _of_condition(source: SourceText, node: Any) -> Iterator[Mutation]:
    if not isinstance(node.test, ast.UnaryOp | ast.Compare | ast.BoolOp):
        test = source.text[source.start(node.test) : source.end(node.test)]
        yield from source.instead(node.test, f"(not ({test}))")


def _of_number(source: SourceText, node: Any) -> Iterator[Mutation]:
    if type(node.value) in (int, float) and not _is_slack(node):
        yield from source.instead(node, repr(node.value + 1 if node.value in (0, 1) else node.value * 2))


def _of_name(source: SourceText, node: Any) -> Iterator[Mutation]:
    if node.id in EXCHANGED:
        yield from source.instead(node, EXCHANGED[node.id])


def _is_slack(node: Any) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, float) and 0 < node.value < SLACK


def _left_alone(tree: ast.AST) -> set[ast.AST]:
    pieces: list[ast.AST] = []
    for node in ast.walk(tree):
        match node:
            case ast.FunctionDef(decorator_list=decorators) | ast.ClassDef(decorator_list=decorators):
                pieces += decorators
            case ast.For(target=ast.Name(id="_"), iter=ast.Call(func=ast.Name(id="range"))):
                pieces.append(node.iter)
            case ast.BinOp(left=ast.Constant(value=int()), op=ast.Pow(), right=ast.Constant(value=int())):
                pieces.append(node)
    return {inner for piece in pieces for inner in ast.walk(piece)}


KINDS: dict[type[ast.AST], Callable[[SourceText, Any], Iterator[Mutation]]] = {
    ast.Compare: _of_comparison,
    ast.BinOp: _of_sum,
    ast.BoolOp: _of_joined,
    ast.UnaryOp: _of_sign,
    ast.IfExp: _of_condition,
    ast.If: _of_condition,
    ast.Constant: _of_number,
    ast.Name: _of_name,
}


def mutations_of(file: str, text: str) -> Iterator[Mutation]:
    """Make every small wrong change of a file: comparisons, sums, signs, numbers, conditions, least and most."""
    source, tree = SourceText(file, text), ast.parse(text)
    alone = _left_alone(tree)
    for node in ast.walk(tree):
        make = KINDS.get(type(node))
        if make and node not in alone:
            yield from make(source, node)
