"""What a key of the site file means: its default, range, unit, source and status, in words."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

from reclaim.reference import assumption_defaults, material_names, read_rows, sources
from reclaim.report.wording import as_stated, plain
from reclaim.site.problems import Check, SiteError
from reclaim.site.settings import setting_defaults
from reclaim.site.spelling import suggestion

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

_FORM_NAMES = {
    "low": "the least it can be",
    "mode": "the likeliest value",
    "high": "the most it can be",
    "mean": "the mean",
    "sd": "the standard deviation",
    "median": "the median",
    "gsd": "the geometric standard deviation, a factor",
}
_MOST_NEAR = 6

_FORMS = "a number, { low, mode, high }, { mean, sd } or { median, gsd }"


@dataclass(frozen=True, slots=True)
class Explanation:
    """One key of the site file.

    Attributes
    ----------
    key, label
        Section and key, and what it is in words.
    accepts
        What may be written there, in words.
    default, low, high
        Best value and range of the default; None or the same where there is none. Text for
        keys that take no number.
    minimum, maximum
        Bounds on what may be given; None for keys that take no number.
    unit, source, reference, status, note
        Of the default.
    """

    key: str
    label: str
    accepts: str
    default: float | str | None
    low: float | None
    high: float | None
    minimum: float | None
    maximum: float | None
    unit: str
    source: str
    reference: str
    status: str
    note: str


def explain(word: str) -> list[Explanation]:
    """Return what is known of a key, or of every key of a section.

    Parameters
    ----------
    word
        A key with its section (``waste.moisture``), the key alone where only one section has it
        (``moisture``), a section (``waste`` or ``[waste]``), or a key inside a table
        (``waste.composition.wood``, ``waste.moisture.low``).

    Raises
    ------
    SiteError
        Where nothing has that name; the message names the nearest that has.
    """
    known = explanations()
    wanted = word.strip().strip("[]")
    if wanted in known:
        return [known[wanted]]
    inside = [item for key, item in known.items() if key.partition(".")[0] == wanted]
    if inside:
        return inside
    alone = [item for key, item in known.items() if key.partition(".")[2] == wanted]
    if alone:
        return alone
    holder, _, name = wanted.rpartition(".")
    if holder in known and (held := _held(known[holder], name)) is not None:
        return [held]
    if holder in known and _names_in(known[holder]):
        names = [f"{holder}.{inner}" for inner in _names_in(known[holder])]
    else:
        names = [*known, *(key.partition(".")[2] for key in known)]
    advice = suggestion(wanted, names)
    if not advice.startswith(("Did you mean", "Use one of: " + holder + ".")):
        advice = _with_the_word(known, wanted)
    raise SiteError([Check("error", word, "No key of the site file has this name.", advice)])


def _names_in(item: Explanation) -> Iterable[str]:
    """Return what may stand in the table of a key; nothing where the names are the user's."""
    if item.accepts == _FORMS:
        return _FORM_NAMES
    return {
        "waste.composition": material_names(),
        "cores.units": (),
        "uncertainty.correlations": ("between", "rank"),
    }.get(item.key, ())


def _held(item: Explanation, name: str) -> Explanation | None:
    """Return what a name inside the table of a key means, or None where it has no place there."""
    key = f"{item.key}.{name}"
    if item.accepts == _FORMS and name in _FORM_NAMES:
        given = {"low": item.low, "mode": item.default, "high": item.high}.get(name)
        label = f"{item.label}: {_FORM_NAMES[name]}"
        return replace(
            item, key=key, label=label, accepts="a number", default=given, low=None, high=None
        )
    names = _names_in(item)
    if not item.accepts.startswith("a table") and not names:
        return None
    if names and name not in names:
        return None
    accepts = item.accepts.removeprefix("a table of ")
    return replace(item, key=key, label=f"{item.label}: {name}", accepts=accepts, default=None)


def _with_the_word(known: Mapping[str, Explanation], word: str) -> str:
    """Return the keys that have a word in their name or label, or how to see all keys."""
    plain_word = word.rpartition(".")[2].casefold()
    near = [
        key for key, item in known.items()
        if len(plain_word) > 2 and plain_word in f"{key} {item.label}".casefold()
    ]  # fmt: skip
    if near:
        return f"Keys with that word: {', '.join(near[:_MOST_NEAR])}."
    return "'reclaim explain' without a key lists them all."


def explanations() -> dict[str, Explanation]:
    """Return every key of the site file, the sections together, in the order of the docs."""
    found = [*_words(), *_settings(), *_assumptions()]
    sections = list(dict.fromkeys(item.key.partition(".")[0] for item in found))
    found.sort(key=lambda item: sections.index(item.key.partition(".")[0]))
    return {item.key: item for item in found}


def explanation_text(items: Sequence[Explanation]) -> str:
    """Return one key in full, or several as a list with one line each."""
    if len(items) == 1:
        return plain(_full(items[0]))
    width = max(len(item.key) for item in items)
    return plain("\n".join(f"{item.key.ljust(width)}  {item.label}" for item in items))


def as_documents(items: Sequence[Explanation]) -> list[dict[str, Any]]:
    """Return explanations ready for JSON."""
    return [asdict(item) for item in items]


def _full(item: Explanation) -> str:
    unit = "" if item.unit in ("-", "", "year") else f" {item.unit}"
    lines = [item.key, f"  {item.label}.", "", f"  accepts  {item.accepts}"]
    if item.default is None:
        lines.append("  default  none")
    elif isinstance(item.default, str):
        lines.append(f"  default  {item.default}")
    else:
        lines.append(f"  default  {_figure(item.default, item.unit)}{unit}")
        if item.low is not None and item.high is not None and item.low < item.high:
            lines.append(f"  range    {as_stated(item.low)} to {as_stated(item.high)}{unit}")
    if item.minimum is not None and item.maximum is not None:
        bounds = f"{_figure(item.minimum, item.unit)} to {_figure(item.maximum, item.unit)}"
        lines.append(f"  bounds   {bounds}{unit}")
    if item.unit:
        lines.append(f"  unit     {'none: a plain number' if item.unit == '-' else item.unit}")
    if item.status and item.default is not None:
        lines += [f"  source   {item.reference}", f"  status   {item.status}"]
    if item.note:
        lines.append(f"  note     {item.note}")
    section, _, name = item.key.partition(".")
    lines += ["", f"  In the site file, under [{section}]:", f"    {name} = {_example(item)}"]
    return "\n".join(lines)


def _figure(value: float, unit: str) -> str:
    return f"{value:.0f}" if unit == "year" else as_stated(value)


def _example(item: Explanation) -> str:
    if item.low is not None and item.high is not None and item.low < item.high:
        return f"{{ low = {item.low:.10g}, mode = {item.default:.10g}, high = {item.high:.10g} }}"
    if isinstance(item.default, float):
        return f"{item.default:.10g}"
    if item.accepts == "true or false":
        return "true"
    if item.accepts.startswith("a table"):
        return "{ ... }"
    return f'"{item.default}"' if item.default else "..."


def _words() -> list[Explanation]:
    return [
        Explanation(
            key=row["key"], label=row["label"], accepts=row["values"],
            default=row["default"] or None, low=None, high=None, minimum=None, maximum=None,
            unit="", source="", reference="", status="", note="",
        )
        for row in read_rows("site_keys.csv")
    ]  # fmt: skip


def _settings() -> list[Explanation]:
    return [
        Explanation(
            key=item.key, label=item.label, accepts="a number",
            default=item.value, low=item.value, high=item.value,
            minimum=item.minimum, maximum=item.maximum, unit=item.unit,
            source=item.source, reference=_reference(item.source), status=item.status,
            note=item.note,
        )
        for item in setting_defaults().values()
        if not item.key.startswith("limits.")
    ]  # fmt: skip


def _assumptions() -> list[Explanation]:
    return [
        Explanation(
            key=item.key, label=item.label, accepts=_FORMS,
            default=item.quantity.mode, low=item.quantity.low, high=item.quantity.high,
            minimum=item.minimum, maximum=item.maximum, unit=item.quantity.unit,
            source=item.quantity.source, reference=_reference(item.quantity.source),
            status=item.quantity.status, note=item.quantity.note,
        )
        for item in assumption_defaults().values()
    ]  # fmt: skip


def _reference(source: str) -> str:
    return sources()[source].reference if source in sources() else source
