"""Ties between parameters: short arithmetic such as "1 - beta", or a function of the dictionary of parameters."""

import ast
import operator
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from frame2d.errors import InputError, known

_OPERATORS: dict[type, Callable[..., float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
    ast.USub: operator.neg,
    ast.UAdd: operator.pos,
}
Rule = str | Callable[[Mapping[str, float]], float]


@dataclass(frozen=True)
class Tie:
    """Parameter `name` follows from the others by `rule`; `text` is what the card says."""

    name: str
    rule: Callable[[Mapping[str, float]], float]
    text: str


def tie(name: str, rule: Rule, names: Iterable[str]) -> Tie:
    """Make a tie of text or a function; raises `InputError` for text that is no arithmetic of known names.

    A text may be the bare name of another parameter, whatever signs that name holds ("positive.F2/F1").
    """
    names = list(names)
    if callable(rule):
        return Tie(name, rule, getattr(rule, "__name__", "function"))
    if rule in names:
        return Tie(name, lambda values: values[rule], rule)
    try:
        tree = ast.parse(rule, mode="eval").body
    except SyntaxError:
        raise InputError(
            f"tie of {name} is {rule!r}; allowed: arithmetic of parameters, such as '1 - beta'"
        ) from None
    return Tie(name, _compiled(tree, name, rule, names), rule)


def _compiled(
    node: ast.AST, name: str, rule: str, names: list[str]
) -> Callable[[Mapping[str, float]], float]:
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        number = float(node.value)
        return lambda values: number
    if isinstance(node, ast.Name | ast.Attribute):
        wanted = known(f"parameter in the tie of {name}", ast.unparse(node), names)
        return lambda values: values[wanted]
    if isinstance(node, ast.BinOp) and type(node.op) in _OPERATORS:
        left, right = _compiled(node.left, name, rule, names), _compiled(node.right, name, rule, names)
        act = _OPERATORS[type(node.op)]
        return lambda values: act(left(values), right(values))
    if isinstance(node, ast.UnaryOp) and type(node.op) in _OPERATORS:
        inner, sign = _compiled(node.operand, name, rule, names), _OPERATORS[type(node.op)]
        return lambda values: sign(inner(values))
    raise InputError(
        f"tie of {name} is {rule!r}; allowed: arithmetic, of numbers, parameters, + - * / ** and brackets"
    )
