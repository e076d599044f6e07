"""Which form a law is searched in, from its name, its class or an instance."""

from collections.abc import Mapping
from typing import Any, TypeAlias

from frame2d.errors import InputError, known
from frame2d.fitting.forms import Form, flat, own_form
from frame2d.fitting.multilinear_forms import MultilinearForm, PinchedMultilinearForm
from frame2d.fitting.nested_forms import SeveralForm, wrapped
from frame2d.fitting.scales import Scales, Side
from frame2d.fitting.sided_forms import AsymmetricForm, DeterioratingForm, PinchedForm
from frame2d.fitting.tables import TABLES
from frame2d.fitting.unnormalised import UnnormalisedForm
from frame2d.materials import (
    BoucWen,
    BoucWenAsymmetric,
    Law,
    LowCycleFatigue,
    Multilinear,
    Parallel,
    Pinched,
    PinchedMultilinear,
    Series,
    Slack,
    registered,
)
from frame2d.materials.deterioration import Deteriorating

LawLike: TypeAlias = str | type[Law] | Law


def class_of(law: LawLike) -> tuple[type[Law], Law | None]:
    """Class and, where given, template of a law."""
    if isinstance(law, Law):
        return type(law), law
    if isinstance(law, type) and issubclass(law, Law):
        return law, None
    laws = registered()
    return laws[known("law", law, laws)], None


def form_of(
    law: LawLike,
    scales: Scales,
    options: Mapping[str, Any] | None = None,
    bounds: Mapping[str, Any] | None = None,
) -> tuple[Form, Law | None]:
    """Form of a law and the template to start from (None: start from the tests).

    A nested law is made of what the instance is made of, or its `example`; a law without a table needs an
    instance.
    """
    kind, template = class_of(law)
    options = dict(options or {})
    bounds = bounds or {}
    if issubclass(kind, BoucWen) and (
        options.get("allow_inadmissible") or getattr(template, "allow_inadmissible", False)
    ):
        return UnnormalisedForm(scales.unit("F"), kind), template
    if kind in TABLES:
        return flat(kind, TABLES[kind], template, options), template
    if options:
        raise InputError(f"{kind.__name__} takes no options, got {', '.join(options)}")
    if issubclass(kind, PinchedMultilinear):
        return PinchedMultilinearForm(kind), template
    if issubclass(kind, Deteriorating):
        softening = template is None or template.positive.post is not None  # type: ignore[attr-defined]
        others = {} if template is None else {"c": template.c, "rates": template.rates}  # type: ignore[attr-defined]
        return DeterioratingForm(kind, softening, others), template
    if issubclass(kind, Multilinear):
        return MultilinearForm(3 if template is None else len(template.positive)), template  # type: ignore[attr-defined]
    if kind is Pinched:
        return PinchedForm(), template
    if kind is BoucWenAsymmetric:
        return AsymmetricForm(), template
    made_of = template
    if template is None and issubclass(kind, Parallel | Series | Slack | LowCycleFatigue):
        made_of = kind.example()
    if isinstance(made_of, Parallel | Series):
        parts = tuple(form_of(each, scales)[0] for each in made_of.laws)
        return SeveralForm(type(made_of), parts), template
    if isinstance(made_of, Slack | LowCycleFatigue):
        return wrapped(made_of, form_of(made_of.inner, scales)[0]), template
    if template is None:
        raise InputError(
            f"law is {kind.__name__}, which has no table of ranges; allowed: an instance to start from, such as "
            f"{kind.__name__}.example(), with bounds"
        )
    return own_form(kind, template, bounds), template


def mirror(law: LawLike) -> dict[str, str]:
    """Ties that make the negative side of a law a mirror of its positive one: ``fit(..., tied=mirror(law))``.

    Raises `InputError` for a law without sides.
    """
    side = Side(1.0, 1.0, 1.0)
    form, _ = form_of(law, Scales(side, side))
    ties = {r.name: "positive" + r.name[8:] for r in form.ranges if r.name.startswith("negative.")}
    if not ties:
        raise InputError(f"law {form.name} has no numbers of a negative side; allowed: a law with two sides")
    return ties
